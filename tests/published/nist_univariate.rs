//! NIST Statistical Reference Datasets, univariate summary statistics (U.S. National Institute of Standards and
//! Technology, public domain): mean, standard deviation and lag-1 autocorrelation.

use tightfit_cross_check::CrossCheck;
use tightfit_fit::noise::{lag1_autocorrelation, mean_and_standard_deviation};

const SOURCE: &str = "NIST Statistical Reference Datasets, univariate summary statistics";

#[rustfmt::skip]
const LEW: &[f64] = &[
    -213.0, -564.0, -35.0, -15.0, 141.0, 115.0, -420.0, -360.0, 203.0, -338.0,
    -431.0, 194.0, -220.0, -513.0, 154.0, -125.0, -559.0, 92.0, -21.0, -579.0,
    -52.0, 99.0, -543.0, -175.0, 162.0, -457.0, -346.0, 204.0, -300.0, -474.0,
    164.0, -107.0, -572.0, -8.0, 83.0, -541.0, -224.0, 180.0, -420.0, -374.0,
    201.0, -236.0, -531.0, 83.0, 27.0, -564.0, -112.0, 131.0, -507.0, -254.0,
    199.0, -311.0, -495.0, 143.0, -46.0, -579.0, -90.0, 136.0, -472.0, -338.0,
    202.0, -287.0, -477.0, 169.0, -124.0, -568.0, 17.0, 48.0, -568.0, -135.0,
    162.0, -430.0, -422.0, 172.0, -74.0, -577.0, -13.0, 92.0, -534.0, -243.0,
    194.0, -355.0, -465.0, 156.0, -81.0, -578.0, -64.0, 139.0, -449.0, -384.0,
    193.0, -198.0, -538.0, 110.0, -44.0, -577.0, -6.0, 66.0, -552.0, -164.0,
    161.0, -460.0, -344.0, 205.0, -281.0, -504.0, 134.0, -28.0, -576.0, -118.0,
    156.0, -437.0, -381.0, 200.0, -220.0, -540.0, 83.0, 11.0, -568.0, -160.0,
    172.0, -414.0, -408.0, 188.0, -125.0, -572.0, -32.0, 139.0, -492.0, -321.0,
    205.0, -262.0, -504.0, 142.0, -83.0, -574.0, 0.0, 48.0, -571.0, -106.0,
    137.0, -501.0, -266.0, 190.0, -391.0, -406.0, 194.0, -186.0, -553.0, 83.0,
    -13.0, -577.0, -49.0, 103.0, -515.0, -280.0, 201.0, 300.0, -506.0, 131.0,
    -45.0, -578.0, -80.0, 138.0, -462.0, -361.0, 201.0, -211.0, -554.0, 32.0,
    74.0, -533.0, -235.0, 187.0, -372.0, -442.0, 182.0, -147.0, -566.0, 25.0,
    68.0, -535.0, -244.0, 194.0, -351.0, -463.0, 174.0, -125.0, -570.0, 15.0,
    72.0, -550.0, -190.0, 172.0, -424.0, -385.0, 198.0, -218.0, -536.0, 96.0,
];

#[rustfmt::skip]
const MAVRO: &[f64] = &[
    2.0018, 2.0017, 2.0018, 2.0019, 2.0018, 2.0017, 2.0015, 2.0014, 2.0015, 2.0015,
    2.0017, 2.0018, 2.0018, 2.0019, 2.0019, 2.0021, 2.002, 2.0016, 2.0014, 2.0013,
    2.0013, 2.0015, 2.0015, 2.0016, 2.0015, 2.0014, 2.0013, 2.0014, 2.0015, 2.0014,
    2.0015, 2.0016, 2.0015, 2.0016, 2.0019, 2.002, 2.002, 2.0021, 2.0022, 2.0023,
    2.0024, 2.0025, 2.0027, 2.0026, 2.0026, 2.0026, 2.0027, 2.0026, 2.0025, 2.0024,
];

#[rustfmt::skip]
const MICHELSO: &[f64] = &[
    299.85, 299.74, 299.9, 300.07, 299.93, 299.85, 299.95, 299.98, 299.98, 299.88,
    300.0, 299.98, 299.93, 299.65, 299.76, 299.81, 300.0, 300.0, 299.96, 299.96,
    299.96, 299.94, 299.96, 299.94, 299.88, 299.8, 299.85, 299.88, 299.9, 299.84,
    299.83, 299.79, 299.81, 299.88, 299.88, 299.83, 299.8, 299.79, 299.76, 299.8,
    299.88, 299.88, 299.88, 299.86, 299.72, 299.72, 299.62, 299.86, 299.97, 299.95,
    299.88, 299.91, 299.85, 299.87, 299.84, 299.84, 299.85, 299.84, 299.84, 299.84,
    299.89, 299.81, 299.81, 299.82, 299.8, 299.77, 299.76, 299.74, 299.75, 299.76,
    299.91, 299.92, 299.89, 299.86, 299.88, 299.72, 299.84, 299.85, 299.85, 299.78,
    299.89, 299.84, 299.78, 299.81, 299.76, 299.81, 299.79, 299.81, 299.82, 299.85,
    299.87, 299.87, 299.81, 299.74, 299.81, 299.94, 299.95, 299.8, 299.81, 299.87,
];

#[test]
fn observed_series_have_their_certified_statistics() {
    let mut check = CrossCheck::against("NIST univariate statistics, observed series", SOURCE);
    certified(&mut check, "Lew", LEW, [-177.435, 277.332168044316, -0.307304800605679], 1e-12);
    certified(&mut check, "Mavro", MAVRO, [2.001856, 0.000429123454003053, 0.937989183438248], 1e-12);
    certified(&mut check, "Michelso", MICHELSO, [299.8524, 0.0790105478190518, 0.535199668621283], 1e-12);
}

/// The three constructed series: a value, then 500 pairs a tenth below and above it.
#[test]
fn constructed_series_have_their_certified_statistics() {
    let mut check = CrossCheck::against("NIST univariate statistics, constructed series", SOURCE);
    certified(&mut check, "NumAcc1", &[10000001.0, 10000003.0, 10000002.0], [10000002.0, 1.0, -0.5], 1e-12);
    for (name, centre, tolerance) in
        [("NumAcc2", 1.2, 1e-12), ("NumAcc3", 1000000.2, 1e-9), ("NumAcc4", 10000000.2, 2e-8)]
    {
        let mut series = vec![centre];
        for _ in 0..500 {
            // The decimals of the data set, not the binary sum.
            series.push(decimal(centre, -1));
            series.push(decimal(centre, 1));
        }
        certified(&mut check, name, &series, [centre, 0.1, -0.999], tolerance);
    }
}

fn decimal(centre: f64, tenths: i64) -> f64 {
    ((centre * 10.0).round() as i64 + tenths) as f64 / 10.0
}

fn certified(
    check: &mut CrossCheck,
    name: &str,
    series: &[f64],
    [mean, standard_deviation, autocorrelation]: [f64; 3],
    tolerance: f64,
) {
    let (found_mean, found_deviation) = mean_and_standard_deviation(series);
    check.relative(&format!("{name}, mean"), found_mean, mean, 1e-14);
    check.relative(&format!("{name}, standard deviation"), found_deviation, standard_deviation, tolerance);
    let found = lag1_autocorrelation(series);
    check.relative(&format!("{name}, lag-1 autocorrelation"), found, autocorrelation, tolerance.max(1e-12));
}
