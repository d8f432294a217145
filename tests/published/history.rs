//! Random-effects regression and change points against published analyses of open data.

use tightfit_cross_check::CrossCheck;
use tightfit_fit::history::{Point, Settings, change_point, trend};

/// The thirteen trials of BCG vaccine of Colditz et al. 1994 (JAMA 271:698): cases and others among the vaccinated,
/// cases and others among the controls, latitude. The figures are from memory; that the published coefficients come out
/// to their printed digits is what speaks for them.
const TRIALS: [[f64; 5]; 13] = [
    [4.0, 119.0, 11.0, 128.0, 44.0],
    [6.0, 300.0, 29.0, 274.0, 55.0],
    [3.0, 228.0, 11.0, 209.0, 42.0],
    [62.0, 13536.0, 248.0, 12619.0, 52.0],
    [33.0, 5036.0, 47.0, 5761.0, 13.0],
    [180.0, 1361.0, 372.0, 1079.0, 44.0],
    [8.0, 2537.0, 10.0, 619.0, 19.0],
    [505.0, 87886.0, 499.0, 87892.0, 13.0],
    [29.0, 7470.0, 45.0, 7232.0, 27.0],
    [17.0, 1699.0, 65.0, 1600.0, 42.0],
    [186.0, 50448.0, 141.0, 27197.0, 18.0],
    [5.0, 2493.0, 3.0, 2338.0, 33.0],
    [27.0, 16886.0, 29.0, 17825.0, 33.0],
];

fn log_risk_ratio([a, b, c, d, latitude]: [f64; 5]) -> Point {
    let (treated, control) = (a + b, c + d);
    let value = (a / treated).ln() - (c / control).ln();
    let variance = 1.0 / a - 1.0 / treated + 1.0 / c - 1.0 / control;
    Point::new(latitude, value, variance.sqrt())
}

/// Regression on latitude with restricted likelihood, as the package metafor prints it for these data (Viechtbauer
/// 2010, Journal of Statistical Software 36(3), and the package's documentation; from memory): τ² = 0.0764,
/// intercept 0.2515 (0.2491), slope −0.0291 (0.0072).
#[test]
fn the_conventional_trend_is_the_published_random_effects_regression() {
    let points: Vec<Point> = TRIALS.into_iter().map(log_risk_ratio).collect();
    let found = trend(&points, &Settings::default()).unwrap();
    let conventional = found.conventional;
    let source =
        "Colditz et al. 1994, regression on latitude as the package metafor prints it (Viechtbauer 2010; from memory)";
    let mut check = CrossCheck::against("Random-effects regression", source);
    check.relative("τ²", conventional.scatter.powi(2), 0.0764, 1e-3);
    check.relative("intercept", conventional.intercept[0], 0.2515, 4e-4);
    check.relative("standard error of the intercept", conventional.intercept[1], 0.2491, 4e-4);
    check.relative("slope, 1/degree", conventional.slope_per_day[0], -0.0291, 2e-3);
    check.relative("standard error of the slope", conventional.slope_per_day[1], 0.0072, 5e-3);
    // Ours does not take the scatter as known, so its interval is the wider one, about the same middle.
    check.relative("our slope, 1/degree", found.slope_per_day.value, -0.0291, 0.05);
    assert!(found.slope_per_day.expanded_uncertainty() > 1.96 * 0.0072);
}

/// Yearly volume of the Nile at Aswan, 10⁸ m³, 1871 to 1970 (Cobb 1978, Biometrika 65:243), as in the data set `nile` of the
/// Python package statsmodels, with which all hundred were compared.
const NILE: [f64; 100] = [
    1120.0, 1160.0, 963.0, 1210.0, 1160.0, 1160.0, 813.0, 1230.0, 1370.0, 1140.0, 995.0, 935.0, 1110.0, 994.0, 1020.0,
    960.0, 1180.0, 799.0, 958.0, 1140.0, 1100.0, 1210.0, 1150.0, 1250.0, 1260.0, 1220.0, 1030.0, 1100.0, 774.0, 840.0,
    874.0, 694.0, 940.0, 833.0, 701.0, 916.0, 692.0, 1020.0, 1050.0, 969.0, 831.0, 726.0, 456.0, 824.0, 702.0, 1120.0,
    1100.0, 832.0, 764.0, 821.0, 768.0, 845.0, 864.0, 862.0, 698.0, 845.0, 744.0, 796.0, 1040.0, 759.0, 781.0, 865.0,
    845.0, 944.0, 984.0, 897.0, 822.0, 1010.0, 771.0, 676.0, 649.0, 846.0, 812.0, 742.0, 801.0, 1040.0, 860.0, 874.0,
    848.0, 890.0, 744.0, 749.0, 838.0, 1050.0, 918.0, 986.0, 797.0, 923.0, 975.0, 815.0, 1020.0, 906.0, 901.0, 1170.0,
    912.0, 746.0, 919.0, 718.0, 714.0, 740.0,
];

/// Cobb finds the change in 1898, the mean falling from about 1100 to about 850 (the article from memory).
#[test]
fn the_change_of_the_nile_is_found_in_1898() {
    let points: Vec<Point> =
        NILE.iter().zip(1871..).map(|(volume, year)| Point::new(f64::from(year), *volume, 0.0)).collect();
    let found = change_point(&points).unwrap();
    let source = "Cobb 1978, Biometrika 65:243 (from memory): yearly volume of the Nile at Aswan";
    let mut check = CrossCheck::against("Change point", source);
    assert!(found.probability > 0.99, "{found:?}");
    check.relative("last year before", found.between_days[0], 1898.0, 0.0);
    assert!(found.location_probability > 0.5);
    check.relative("step, 10⁸ m³", found.step.value, 850.0 - 1098.0, 0.02);
}
