//! Simulation study of trends over years. Writes a Markdown table to standard output.
//!
//! `cargo run --release -p tightfit-fit --example history-study -- [--histories N]`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use tightfit_fit::history::HistoryError;
use tightfit_fit::simulate::{Years, study_years};

fn main() -> Result<(), HistoryError> {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|i| arguments.get(i + 1));
    let histories = after("--histories").and_then(|n| n.parse().ok()).unwrap_or(400);
    println!(
        "| results | drift a year | scatter | service | slope covered (below, above) | level covered (below, above) | crossing covered | steps kept | called changed | half width of the slope |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    let mut pooled = [0usize; 4];
    let mut number = 0;
    for results in [3, 4, 5, 8, 12] {
        for scatter in [0.0, 0.5, 1.0, 3.0] {
            for (drift, step) in [(0.0, None), (0.5, None), (0.5, Some(0.0)), (0.5, Some(-6.0))] {
                number += 1;
                let years = Years { results, drift, scatter, step, uneven: 1.5 };
                let o = study_years(&years, histories, number)?;
                let n = o.histories as f64;
                let covered = |outside: [usize; 2]| {
                    let [below, above] = outside.map(|count| 100.0 * count as f64 / n);
                    format!("{:.1} % ({below:.1}, {above:.1})", 100.0 - below - above)
                };
                let crossing = match o.crossings {
                    0 => "–".to_owned(),
                    crossings => format!("{:.1} %", 100.0 - 100.0 * o.crossing_outside as f64 / crossings as f64),
                };
                let service = step.map_or("–".to_owned(), |step| format!("{step}"));
                println!(
                    "| {results} | {drift} | {scatter} | {service} | {} | {} | {crossing} | {:.1} % | {:.1} % | {:.2} |",
                    covered(o.slope_outside),
                    covered(o.level_outside),
                    100.0 * o.steps_kept as f64 / n,
                    100.0 * o.changes as f64 / n,
                    o.slope_half_width
                );
                pooled[0] += o.histories;
                pooled[1] += o.slope_outside[0] + o.slope_outside[1];
                pooled[2] += o.level_outside[0] + o.level_outside[1];
                pooled[3] += o.crossing_outside;
            }
        }
    }
    let share = |count: usize| 100.0 - 100.0 * count as f64 / pooled[0] as f64;
    println!("\nPooled: slope {:.1} %, level {:.1} % of {} histories.", share(pooled[1]), share(pooled[2]), pooled[0]);
    Ok(())
}
