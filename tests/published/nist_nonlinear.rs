//! NIST Statistical Reference Datasets, nonlinear regression (data and certified values in `nist_nonlinear.toml`).
//! Gate: six digits on every parameter and standard deviation, from both published starts.

use serde::Deserialize;
use std::f64::consts::PI;
use tightfit_cross_check::CrossCheck;
use tightfit_fit::solve::fit_nonlinear;

#[derive(Deserialize)]
struct Problems {
    problem: Vec<Problem>,
}

#[derive(Deserialize)]
struct Problem {
    name: String,
    residual_sum_of_squares: f64,
    start1: Vec<f64>,
    start2: Vec<f64>,
    certified: Vec<f64>,
    standard_deviation: Vec<f64>,
    y: Vec<f64>,
    #[serde(default)]
    x: Vec<f64>,
    #[serde(default)]
    x1: Vec<f64>,
    #[serde(default)]
    x2: Vec<f64>,
}

type Model = fn(&[f64; 2], &[f64]) -> f64;

fn model(name: &str) -> Model {
    match name {
        "Misra1a" | "BoxBOD" => |x, b| b[0] * (1.0 - (-b[1] * x[0]).exp()),
        "Misra1b" => |x, b| b[0] * (1.0 - (1.0 + b[1] * x[0] / 2.0).powi(-2)),
        "Chwirut1" | "Chwirut2" => |x, b| (-b[0] * x[0]).exp() / (b[1] + b[2] * x[0]),
        "DanWood" => |x, b| b[0] * x[0].powf(b[1]),
        "Bennett5" => |x, b| b[0] * (b[1] + x[0]).powf(-1.0 / b[2]),
        "Eckerle4" => |x, b| b[0] / b[1] * (-0.5 * ((x[0] - b[2]) / b[1]).powi(2)).exp(),
        "ENSO" => |x, b| {
            let wave = |cosine: f64, sine: f64, period: f64| {
                let phase = 2.0 * PI * x[0] / period;
                cosine * phase.cos() + sine * phase.sin()
            };
            b[0] + wave(b[1], b[2], 12.0) + wave(b[4], b[5], b[3]) + wave(b[7], b[8], b[6])
        },
        "Gauss1" => |x, b| {
            let peak = |height: f64, centre: f64, width: f64| height * (-((x[0] - centre) / width).powi(2)).exp();
            b[0] * (-b[1] * x[0]).exp() + peak(b[2], b[3], b[4]) + peak(b[5], b[6], b[7])
        },
        "Hahn1" | "Thurber" => |x, b| {
            let x = x[0];
            (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])))
        },
        "Kirby2" => |x, b| {
            let x = x[0];
            (b[0] + x * (b[1] + x * b[2])) / (1.0 + x * (b[3] + x * b[4]))
        },
        "Lanczos1" | "Lanczos3" => |x, b| (0..3).map(|i| b[2 * i] * (-b[2 * i + 1] * x[0]).exp()).sum(),
        "MGH09" => |x, b| b[0] * (x[0] * x[0] + x[0] * b[1]) / (x[0] * x[0] + x[0] * b[2] + b[3]),
        "MGH10" => |x, b| b[0] * (b[1] / (x[0] + b[2])).exp(),
        // The response of this problem is the logarithm of y.
        "Nelson" => |x, b| b[0] - b[1] * x[0] * (-b[2] * x[1]).exp(),
        "Rat42" => |x, b| b[0] / (1.0 + (b[1] - b[2] * x[0]).exp()),
        "Rat43" => |x, b| b[0] / (1.0 + (b[1] - b[2] * x[0]).exp()).powf(1.0 / b[3]),
        "Roszman1" => |x, b| b[0] - b[1] * x[0] - (b[2] / (x[0] - b[3])).atan() / PI,
        other => panic!("no model for {other}"),
    }
}

#[test]
fn all_problems_reach_their_certified_values_from_both_starts() {
    let problems: Problems = toml::from_str(include_str!("nist_nonlinear.toml")).unwrap();
    assert_eq!(problems.problem.len(), 21);
    let source = "NIST Statistical Reference Datasets, nonlinear regression; each problem from both published starts";
    let mut check = CrossCheck::against("NIST nonlinear regression", source);
    let mut digits = Vec::new();
    for problem in &problems.problem {
        let x: Vec<[f64; 2]> = if problem.x.is_empty() {
            problem.x1.iter().zip(&problem.x2).map(|(a, b)| [*a, *b]).collect()
        } else {
            problem.x.iter().map(|x| [*x, 0.0]).collect()
        };
        let logarithm = problem.name == "Nelson";
        let y: Vec<f64> = problem.y.iter().map(|y| if logarithm { y.ln() } else { *y }).collect();
        for (which, start) in [(1, &problem.start1), (2, &problem.start2)] {
            let name = format!("{} from start {which}", problem.name);
            let fit = match fit_nonlinear(model(&problem.name), &x, &y, None, start) {
                Ok(fit) => fit,
                Err(error) => panic!("{name}: {error}"),
            };
            for (found, certified) in fit.parameters.iter().zip(&problem.certified) {
                check.relative(&format!("{}, parameters", problem.name), *found, *certified, 1e-6);
            }
            digits.push(worst_digits(&fit.parameters, &problem.certified));
            // Data of Lanczos1 are exact: its sum of squares is rounding, and so are its standard deviations.
            if problem.name == "Lanczos1" {
                let squares = "Lanczos1, residual sum of squares";
                check.absolute(squares, fit.residual_sum_of_squares, problem.residual_sum_of_squares, 1e-20);
                continue;
            }
            let squares = format!("{}, residual sum of squares", problem.name);
            check.relative(&squares, fit.residual_sum_of_squares, problem.residual_sum_of_squares, 1e-9);
            for (found, certified) in fit.standard_errors().iter().zip(&problem.standard_deviation) {
                check.relative(&format!("{}, standard deviations", problem.name), *found, *certified, 1e-6);
            }
        }
    }
    let eight = digits.iter().filter(|d| **d >= 8.0).count();
    assert!(eight * 10 >= digits.len() * 8, "{eight} of {} with eight digits", digits.len());
}

/// Digits of the worst parameter.
fn worst_digits(found: &[f64], certified: &[f64]) -> f64 {
    let digits = |(found, certified): (&f64, &f64)| -((found - certified) / certified).abs().max(1e-15).log10();
    found.iter().zip(certified).map(digits).fold(f64::INFINITY, f64::min)
}
