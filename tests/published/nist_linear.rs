//! NIST Statistical Reference Datasets, linear regression (data and certified values in `nist_linear.toml`).

use serde::Deserialize;
use tightfit_cross_check::CrossCheck;
use tightfit_fit::solve::fit_linear;

#[derive(Deserialize)]
struct Problems {
    problem: Vec<Problem>,
}

#[derive(Deserialize)]
struct Problem {
    name: String,
    intercept: bool,
    degree: i32,
    residual_sum_of_squares: f64,
    certified: Vec<f64>,
    standard_deviation: Vec<f64>,
    y: Vec<f64>,
    #[serde(flatten)]
    x: std::collections::BTreeMap<String, Vec<f64>>,
}

/// Tolerance on parameters: what Householder QR in double precision leaves of the conditioning, with a margin of ten.
fn tolerance(name: &str) -> f64 {
    match name {
        "NoInt1" | "NoInt2" => 1e-13,
        "Norris" | "Pontius" => 1e-11,
        "Wampler2" => 1e-12,
        "Longley" => 1e-9,
        "Wampler1" | "Wampler3" => 1e-8,
        "Wampler4" => 2e-7,
        _ => 2e-5,
    }
}

#[test]
fn all_problems_reach_their_certified_values() {
    let problems: Problems = toml::from_str(include_str!("nist_linear.toml")).unwrap();
    assert_eq!(problems.problem.len(), 10);
    let mut check =
        CrossCheck::against("NIST linear regression", "NIST Statistical Reference Datasets, linear regression");
    for problem in &problems.problem {
        let columns: Vec<&Vec<f64>> = problem.x.values().collect();
        let rows: Vec<Vec<f64>> = (0..problem.y.len())
            .map(|i| {
                let mut row = if problem.intercept { vec![1.0] } else { Vec::new() };
                if columns.len() == 1 {
                    row.extend((1..=problem.degree.max(1)).map(|power| columns[0][i].powi(power)));
                } else {
                    row.extend(columns.iter().map(|column| column[i]));
                }
                row
            })
            .collect();
        let fit = fit_linear(&rows, &problem.y, None).unwrap();
        for (found, certified) in fit.coefficients.iter().zip(&problem.certified) {
            check.relative(&format!("{}, coefficients", problem.name), *found, *certified, tolerance(&problem.name));
        }
        // The exact polynomials have residuals of rounding only.
        if problem.residual_sum_of_squares == 0.0 {
            for found in fit.standard_errors() {
                check.absolute(&format!("{}, standard deviations", problem.name), found, 0.0, 1e-8);
            }
            continue;
        }
        let squares = format!("{}, residual sum of squares", problem.name);
        check.relative(&squares, fit.residual_sum_of_squares, problem.residual_sum_of_squares, 1e-9);
        for (found, certified) in fit.standard_errors().iter().zip(&problem.standard_deviation) {
            check.relative(&format!("{}, standard deviations", problem.name), *found, *certified, 1e-9);
        }
    }
}
