use tightfit_fit::Samples;
use tightfit_fit::pressure_change::*;
fn main() {
    for (dt, n, p0, rate, noise) in [
        (0.1, 1500, 7.3e5, -30.0, 300.0),
        (0.1, 1500, 7.3e5, -30.0, 0.0),
        (1.0, 3600, 7.3e5, -0.30, 100.0),
        (10.0, 360, -500.0, 0.005, 0.1),
        (0.1, 1500, -500.0, 0.005, 0.1),
        (1.0, 150, -500.0, 0.005, 0.1),
    ] {
        let time_s: Vec<f64> = (0..n).map(|k| f64::from(k) * dt).collect();
        let mut s: u64 = 7;
        let gauge_pa: Vec<f64> = time_s
            .iter()
            .map(|t| {
                s = s.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                let u = (s >> 40) as f64 / (1u64 << 24) as f64 - 0.5;
                p0 + rate * t + noise * u * 3.4
            })
            .collect();
        let record = Record {
            inside: InsidePressure::Gauge(Samples::new(&time_s, &gauge_pa).unwrap()),
            room: RoomPressure::Stated(101_325.0),
            thermometers: vec![],
            reference_vessels: vec![],
            vapour_pressure_pa: None,
            stated_temperature_k: 295.15,
        };
        let mut st = Settings::new(p0);
        st.compliance = Compliance::Rigid;
        st.window = WindowChoice::Set { from_s: 0.0, to_s: dt * f64::from(n) };
        match evaluate(&record, &st) {
            Ok(r) => println!(
                "{:?} {:?} {:?}\n  dt {dt} n {n} p0 {p0}: {:.3e} [{:.3e} {:.3e}] mp {:.3e}",
                r.events,
                r.rows,
                r.diagnostics,
                r.hourly_leak_rate.value,
                r.hourly_leak_rate.interval95[0],
                r.hourly_leak_rate.interval95[1],
                r.mass_point.unwrap().value
            ),
            Err(_) if false => println!(""),
            Err(e) => println!("{e}"),
        }
    }
}
