//! One full conductance fit against a general-purpose library: least squares by scipy (`conductance_fit.py` beside this file), on a
//! simulated hold whose thermometer lags and does not wander. Skipped with a message where Python, numpy or scipy are
//! missing.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use tightfit_cross_check::CrossCheck;
use tightfit_fit::pressure_change::evaluate;
use tightfit_fit::simulate::{Hold, Room};

#[test]
fn the_conductance_agrees_with_a_least_squares_fit_by_scipy() {
    let hold = Hold::ordinary(Room::ORDINARY, 2.0 * 3600.0, 5e-4);
    let simulated = hold.simulate(11);
    let result = evaluate(&simulated.record(&hold).unwrap(), &hold.settings()).unwrap();
    let mut rows = String::new();
    for (index, time_s) in simulated.time_s.iter().enumerate() {
        if (result.window.from_s..=result.window.to_s).contains(time_s) {
            let (gauge, room) = (simulated.gauge_pa[index], simulated.room_pa[index]);
            let _ = writeln!(rows, "{time_s} {gauge} {room} {}", simulated.thermometers_k[0][index]);
        }
    }
    let Some(by_scipy) = by_scipy(&rows) else { return };
    let found = &result.conductance_per_volume;
    // The same readings, so that only the treatment of lag and noise differs: well within the stated uncertainty.
    let source = "Nonlinear least squares of the general-purpose library scipy on the same simulated readings";
    let mut check = CrossCheck::against("Conductance by a general library", source);
    check.relative("conductance over that of scipy", found.value / by_scipy, 1.0, 0.03);
    let uncertainty = (found.standard_uncertainty / by_scipy, "its standard uncertainty");
    check.parts("conductance over that of scipy", found.value / by_scipy, 1.0, 1.0, uncertainty);
}

/// Exit code by which the script says that numpy or scipy is missing.
const NO_LIBRARY: i32 = 3;

/// G/V in 1/s, or nothing where the library is not there.
fn by_scipy(rows: &str) -> Option<f64> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/published/conductance_fit.py");
    let python = std::env::var_os("PYTHON").unwrap_or_else(|| "python3".into());
    let mut command = Command::new(&python);
    command.arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let output = command.spawn().ok().map(|mut child| {
        // A script without its libraries ends before it reads, so that the pipe may be closed already.
        let _ = child.stdin.take().unwrap().write_all(rows.as_bytes());
        child.wait_with_output().unwrap()
    });
    match output {
        Some(output) if output.status.code() != Some(NO_LIBRARY) => {
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
            Some(String::from_utf8(output.stdout).unwrap().trim().parse().unwrap())
        }
        _ => {
            let _ = writeln!(std::io::stderr(), "skipped: python3 with numpy and scipy is not here");
            None
        }
    }
}
