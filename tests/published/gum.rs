//! JCGM 100:2008 (Guide to the expression of uncertainty in measurement), Annex H, examples H.1 to H.3, and JCGM 101:2008,
//! clause 9.2. Inputs and results as printed; digits beyond print were recomputed from the printed inputs. H.1's inputs
//! and the additive example are from memory of the documents where they are not in public copies.

use tightfit_cross_check::CrossCheck;
use tightfit_fit::solve::fit_linear;
use tightfit_fit::uncertainty::{Distribution, effective_degrees_of_freedom, monte_carlo, propagate};

/// H.1, end-gauge calibration: Table H.1 and H.1.6.
#[test]
fn end_gauge_has_its_combined_and_expanded_uncertainty() {
    let source = "JCGM 100:2008, H.1.6 and Table H.1 (inputs from memory), recomputed from the printed inputs";
    let mut check = CrossCheck::against("GUM, end gauge", source);
    // ls, d, alpha_s, theta, difference of alpha, difference of theta, in nm and K.
    let values = [50_000_623.0, 215.0, 11.5e-6, -0.1, 0.0, 0.0];
    let uncertainties = [25.0, 9.7, 1.2e-6, 0.41, 0.58e-6, 0.029];
    let covariance: Vec<Vec<f64>> = (0..6)
        .map(|i| (0..6).map(|j| if i == j { uncertainties[i] * uncertainties[i] } else { 0.0 }).collect())
        .collect();
    let length = |x: &[f64]| vec![x[0] + x[1] - x[0] * (x[4] * x[3] + x[2] * x[5])];
    let result = propagate(length, &values, &covariance);
    check.relative("length, nm", result.values[0], 50_000_838.0, 1e-12);
    check.relative("combined standard uncertainty, nm", result.standard_uncertainty(0), 31.7106, 1e-5);
    let contributions = [(25.0, 18.0), (9.7, 25.6), (2.9000, 50.0), (16.6752, 2.0)];
    let dof = effective_degrees_of_freedom(&contributions);
    check.relative("effective degrees of freedom", dof, 16.656, 1e-3);
    // The guide truncates them before it takes the quantile.
    let factor = Distribution::student(0.0, 1.0, dof.floor()).quantile(0.995);
    check.relative("coverage factor", factor, 2.920782, 1e-6);
    check.relative("expanded uncertainty, nm", factor * result.standard_uncertainty(0), 92.62, 1e-4);
}

/// H.2, resistance and reactance: Tables H.2 to H.5.
#[test]
fn resistance_and_reactance_carry_the_correlation_of_their_inputs() {
    let source = "JCGM 100:2008, H.2, Tables H.2 to H.5, recomputed from the printed readings";
    let mut check = CrossCheck::against("GUM, resistance and reactance", source);
    let volt = [5.007, 4.994, 5.005, 4.990, 4.999];
    let ampere = [0.019663, 0.019639, 0.019640, 0.019685, 0.019678];
    let phase = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
    let series = [volt, ampere, phase];
    let means: Vec<f64> = series.iter().map(|s| s.iter().sum::<f64>() / 5.0).collect();
    let covariance: Vec<Vec<f64>> = (0..3)
        .map(|a| {
            (0..3)
                .map(|b| (0..5).map(|i| (series[a][i] - means[a]) * (series[b][i] - means[b])).sum::<f64>() / 20.0)
                .collect()
        })
        .collect();
    let impedance = |x: &[f64]| vec![x[0] / x[1] * x[2].cos(), x[0] / x[1] * x[2].sin(), x[0] / x[1]];
    let with = propagate(impedance, &means, &covariance);
    for (output, (value, uncertainty)) in
        [(127.732169928, 0.07107141), (219.846511913, 0.29558168), (254.259701948, 0.23633613)].into_iter().enumerate()
    {
        check.relative("R, X and Z, Ω", with.values[output], value, 1e-9);
        check.relative("their standard uncertainties, Ω", with.standard_uncertainty(output), uncertainty, 1e-6);
    }
    for ((a, b), correlation) in [((0, 1), -0.58842978), ((0, 2), -0.48525922), ((1, 2), 0.99251165)] {
        check.relative("their correlations", with.correlation(a, b), correlation, 1e-6);
    }
    let ignored: Vec<Vec<f64>> =
        (0..3).map(|a| (0..3).map(|b| if a == b { covariance[a][a] } else { 0.0 }).collect()).collect();
    let without = propagate(impedance, &means, &ignored);
    check.relative("u(R), correlations ignored", without.standard_uncertainty(0), 0.19454445, 1e-6);
}

/// H.3, calibration of a thermometer: Table H.6 and H.3.3 to H.3.5.
#[test]
fn thermometer_line_has_its_parameters_and_prediction() {
    let source = "JCGM 100:2008, H.3.3 to H.3.5 and Table H.6, recomputed from the printed readings";
    let mut check = CrossCheck::against("GUM, calibration of a thermometer", source);
    let celsius = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let correction = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let rows: Vec<Vec<f64>> = celsius.iter().map(|t| vec![1.0, t - 20.0]).collect();
    let fit = fit_linear(&rows, &correction, None).unwrap();
    check.relative("intercept, °C", fit.coefficients[0], -0.17120379013135, 1e-9);
    check.relative("slope", fit.coefficients[1], 0.00218269773989, 1e-9);
    let errors = fit.standard_errors();
    check.relative("u(intercept), °C", errors[0], 0.00287759784, 1e-8);
    check.relative("u(slope)", errors[1], 0.00066793877, 1e-7);
    check.relative("correlation", fit.covariance[0][1] / (errors[0] * errors[1]), -0.9304296030934, 1e-9);
    let at_30 = propagate(|b| vec![b[0] + 10.0 * b[1]], &fit.coefficients, &fit.covariance);
    check.relative("correction at 30 °C, °C", at_30.values[0], -0.1493768127325, 1e-9);
    check.relative("its standard uncertainty, °C", at_30.standard_uncertainty(0), 0.0041385957529, 1e-7);
}

/// JCGM 101:2008, 9.2.2 and 9.2.3: sum of four inputs, normal and rectangular, each of standard deviation 1.
#[test]
fn monte_carlo_finds_the_intervals_of_the_additive_model() {
    let source = "JCGM 101:2008, 9.2.2 and 9.2.3 (from memory); 200 000 draws";
    let mut check = CrossCheck::against("Monte Carlo, additive model", source);
    let normal = monte_carlo(200_000, 7, |random| (0..4).map(|_| random.normal()).sum());
    check.relative("normal inputs, standard deviation", normal.standard_deviation, 2.0, 5e-3);
    check.relative("normal inputs, upper end", normal.interval95[1], 3.92, 1e-2);
    let half = 3.0_f64.sqrt();
    let rectangular = monte_carlo(200_000, 7, |random| (0..4).map(|_| random.uniform(-half, half)).sum());
    // Printed: ±3.88 for the rectangular inputs.
    check.relative("rectangular inputs, upper end", rectangular.interval95[1], 3.88, 1e-2);
    check.relative(
        "rectangular inputs, width of the shortest interval",
        rectangular.shortest95[1] - rectangular.shortest95[0],
        7.76,
        1.5e-2,
    );
}
