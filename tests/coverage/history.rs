//! Trends over simulated years: coverage, steps at services, false alarms.

use tightfit_fit::simulate::{Years, YearsOutcome, study_years};

const HISTORIES: usize = 30;

fn studied(results: usize, scatter: f64, drift: f64, step: Option<f64>, seed: u64) -> YearsOutcome {
    study_years(&Years { results, drift, scatter, step, uneven: 1.5 }, HISTORIES, seed).unwrap()
}

#[test]
fn trends_cover_with_few_results_and_many_with_and_without_scatter() {
    let cells = [
        studied(3, 0.5, 0.5, None, 1),
        studied(5, 0.0, 0.0, None, 2),
        studied(5, 1.0, 0.5, Some(0.0), 3),
        studied(8, 1.0, 0.5, None, 4),
        studied(8, 3.0, 0.5, Some(-6.0), 5),
        studied(12, 0.5, 0.5, Some(-6.0), 6),
    ];
    let all = cells.len() * HISTORIES;
    let slope: usize = cells.iter().map(|o| o.slope_outside[0] + o.slope_outside[1]).sum();
    let level: usize = cells.iter().map(|o| o.level_outside[0] + o.level_outside[1]).sum();
    // 5 % of 180 are 9; more than 18 have a probability below 0.4 % where the intervals cover 95 %.
    assert!(slope <= 18, "slope outside {slope} of {all}");
    assert!(level <= 18, "level outside {level} of {all}");
}

#[test]
fn a_service_that_changed_nothing_is_seldom_said_to_have_and_a_large_step_is_found() {
    let idle = studied(8, 0.5, 0.0, Some(0.0), 11);
    assert!(idle.steps_kept <= 2, "{} of {HISTORIES}", idle.steps_kept);
    let large = studied(8, 0.5, 0.0, Some(-12.0), 12);
    assert!(large.steps_kept >= 27, "{} of {HISTORIES}", large.steps_kept);
}

#[test]
fn without_a_change_none_is_reported() {
    let quiet = studied(8, 0.5, 0.0, None, 21);
    assert!(quiet.changes <= 2, "{} of {HISTORIES}", quiet.changes);
}
