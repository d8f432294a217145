//! Readings of closed chambers, as means over a few seconds, and what was published about them.

/// A stretch of readings: means over `step_s` seconds each, the first mean centred at `first_s`.
pub(crate) struct Means {
    pub(crate) name: &'static str,
    pub(crate) first_s: f64,
    pub(crate) step_s: f64,
    pub(crate) values: &'static [f64],
}

impl Means {
    pub(crate) fn time_s(&self) -> Vec<f64> {
        (0..self.values.len()).map(|index| self.first_s + self.step_s * index as f64).collect()
    }
}

/// Slope in mg/L per s and standard error of oxygen in four sealed respiration chambers, three phases each: table AMR.slope
/// of the R package FishResp (repository cran/FishResp, commit e39846bd), ordinary least squares on the 300 readings of the
/// first five minutes.
pub(crate) const RESPIRATION_SLOPES: [(&str, f64, f64); 12] = [
    ("CH1 M1", -0.001917901, 8.373631e-06),
    ("CH1 M2", -0.001614253, 8.272341e-06),
    ("CH1 M3", -0.001526099, 8.469830e-06),
    ("CH2 M1", -0.001980951, 9.451070e-06),
    ("CH2 M2", -0.001886383, 7.941593e-06),
    ("CH2 M3", -0.001828436, 1.005771e-05),
    ("CH3 M2", -0.002442576, 7.285536e-06),
    ("CH3 M1", -0.002006720, 9.793831e-06),
    ("CH3 M3", -0.002004380, 9.298845e-06),
    ("CH4 M1", -0.002915344, 1.024571e-05),
    ("CH4 M3", -0.002721659, 8.041966e-06),
    ("CH4 M2", -0.002336422, 1.087168e-05),
];

/// Four of these phases, mg/L: means of ten readings of the package's data set stickleback.
pub(crate) const RESPIRATION: [Means; 4] = [
    Means {
        name: "CH1 M1",
        first_s: 4.5,
        step_s: 10.0,
        values: &[
            8.579, 8.545, 8.522, 8.509, 8.491, 8.465, 8.443, 8.425, 8.407, 8.385, 8.366, 8.343, 8.330, 8.309, 8.283,
            8.266, 8.250, 8.228, 8.211, 8.195, 8.181, 8.162, 8.144, 8.129, 8.093, 8.079, 8.067, 8.048, 8.033, 8.010,
        ],
    },
    Means {
        name: "CH2 M2",
        first_s: 4.5,
        step_s: 10.0,
        values: &[
            8.396, 8.381, 8.356, 8.334, 8.325, 8.293, 8.276, 8.258, 8.241, 8.220, 8.206, 8.185, 8.170, 8.157, 8.135,
            8.119, 8.092, 8.078, 8.056, 8.029, 8.009, 7.988, 7.967, 7.952, 7.935, 7.925, 7.905, 7.888, 7.869, 7.860,
        ],
    },
    Means {
        name: "CH3 M3",
        first_s: 4.5,
        step_s: 10.0,
        values: &[
            8.514, 8.504, 8.477, 8.446, 8.422, 8.395, 8.379, 8.350, 8.332, 8.306, 8.288, 8.266, 8.244, 8.233, 8.209,
            8.188, 8.166, 8.157, 8.138, 8.118, 8.096, 8.078, 8.060, 8.045, 8.021, 8.006, 7.988, 7.961, 7.942, 7.930,
        ],
    },
    Means {
        name: "CH4 M1",
        first_s: 4.5,
        step_s: 10.0,
        values: &[
            8.414, 8.387, 8.359, 8.335, 8.317, 8.288, 8.268, 8.241, 8.220, 8.185, 8.165, 8.126, 8.092, 8.064, 8.040,
            8.008, 7.978, 7.940, 7.907, 7.875, 7.849, 7.815, 7.785, 7.752, 7.725, 7.701, 7.672, 7.643, 7.617, 7.596,
        ],
    },
];

/// A run of carbon dioxide in a closed chamber with what was published or computed from its full record.
pub(crate) struct Run {
    /// Means of five readings, ppm.
    pub(crate) means: Means,
    /// Straight line through the full record, ppm/s: the package's own tests, three digits.
    pub(crate) line: f64,
    /// Its standard error by ordinary least squares.
    pub(crate) line_error: f64,
    /// Exponential approach within the first 150 s, c + a·e^(−t/τ) by least squares: τ and its autocorrelation-robust
    /// standard error, s.
    pub(crate) time_constant_s: [f64; 2],
    /// Its end c, ppm.
    pub(crate) end_ppm: f64,
}

/// Data set co2_conc of the R package fluxible (repository Plant-Functional-Trait-Course/fluxible, commit c5ad17f1), runs 1 to
/// 6. In runs 4 and 5 the chamber did not stay closed.
pub(crate) const CARBON_DIOXIDE: [Run; 6] = [
    Run {
        means: Means {
            name: "run 1",
            first_s: 2.0,
            step_s: 5.0,
            values: &[
                448.25, 451.59, 455.51, 458.58, 462.29, 465.25, 468.33, 471.64, 474.35, 477.45, 480.43, 483.11, 485.41,
                488.53, 490.96, 493.66, 495.89, 497.91, 499.72, 502.23, 504.75, 506.24, 508.48, 510.68, 512.81, 514.73,
                516.46, 518.62, 520.30, 522.16, 523.85, 525.50, 527.37, 528.87, 529.95, 531.44, 526.65, 457.43, 423.54,
                418.38, 425.88, 427.03,
            ],
        },
        line: 0.113,
        line_error: 0.03622,
        time_constant_s: [189.9024, 3.724],
        end_ppm: 586.0404,
    },
    Run {
        means: Means {
            name: "run 2",
            first_s: 2.0,
            step_s: 5.0,
            values: &[
                435.77, 437.55, 439.58, 441.39, 443.39, 445.23, 447.42, 449.08, 451.24, 453.20, 455.03, 456.64, 458.55,
                460.34, 461.95, 463.43, 464.87, 466.57, 468.16, 469.77, 471.43, 473.29, 474.42, 475.99, 478.15, 479.30,
                481.00, 482.41, 483.39, 484.90, 486.24, 487.13, 488.89, 490.29, 491.24, 492.40, 485.60, 444.55, 427.58,
                428.24, 428.92, 429.91,
            ],
        },
        line: 0.11,
        line_error: 0.02139,
        time_constant_s: [377.951, 17.263],
        end_ppm: 590.6493,
    },
    Run {
        means: Means {
            name: "run 3",
            first_s: 2.0,
            step_s: 5.0,
            values: &[
                458.91, 460.23, 461.75, 463.25, 464.69, 466.14, 467.58, 469.23, 470.58, 471.53, 472.56, 473.64, 474.39,
                474.86, 475.33, 475.65, 476.16, 476.65, 476.88, 477.55, 478.12, 478.76, 479.36, 479.64, 480.40, 480.86,
                481.46, 481.79, 481.74, 482.21, 482.60, 482.92, 482.84, 482.63, 483.17, 483.59, 484.16, 484.21, 484.57,
                484.80, 484.98, 485.01,
            ],
        },
        line: 0.115,
        line_error: 0.002637,
        time_constant_s: [72.05793, 3.253],
        end_ppm: 485.4128,
    },
    Run {
        means: Means {
            name: "run 4",
            first_s: 2.0,
            step_s: 5.0,
            values: &[
                436.88, 439.69, 442.05, 444.49, 446.10, 448.96, 451.28, 453.55, 455.85, 458.37, 460.53, 462.75, 464.89,
                467.43, 469.51, 472.17, 473.86, 476.88, 478.45, 479.74, 480.88, 482.52, 483.71, 484.60, 486.09, 487.01,
                487.67, 488.67, 488.41, 488.88, 489.16, 489.32, 490.12, 490.76, 490.57, 490.38, 464.68, 421.97, 417.41,
                417.25, 418.83, 423.22,
            ],
        },
        line: 0.0431,
        line_error: 0.02662,
        time_constant_s: [134.8453, 13.803],
        end_ppm: 520.1848,
    },
    Run {
        means: Means {
            name: "run 5",
            first_s: 2.0,
            step_s: 5.0,
            values: &[
                432.08, 434.86, 437.82, 440.25, 442.92, 446.13, 448.35, 450.64, 452.93, 455.37, 457.10, 459.03, 460.33,
                461.69, 463.18, 464.71, 466.00, 467.04, 468.17, 470.05, 470.95, 471.50, 472.25, 472.69, 473.26, 473.96,
                474.05, 474.63, 467.22, 430.95, 430.07, 449.70, 422.57, 416.51, 416.13, 416.19, 417.85, 421.91, 425.71,
                429.62, 432.30,
            ],
        },
        line: -0.105,
        line_error: 0.02215,
        time_constant_s: [37.94567, 15.73],
        end_ppm: 469.1121,
    },
    Run {
        means: Means {
            name: "run 6",
            first_s: 2.0,
            step_s: 5.0,
            values: &[
                435.17, 437.50, 439.75, 441.26, 443.48, 445.08, 446.87, 448.19, 449.34, 450.60, 452.01, 452.91, 453.35,
                454.45, 455.27, 455.89, 457.46, 458.21, 458.80, 460.18, 461.08, 461.81, 463.19, 463.10, 462.81, 463.00,
                464.00, 464.65, 465.52, 466.04, 466.90, 467.78, 468.44, 468.08, 468.28, 467.76, 468.24, 469.03, 469.51,
                455.83, 429.34,
            ],
        },
        line: 0.117,
        line_error: 0.009809,
        time_constant_s: [90.68895, 4.067],
        end_ppm: 473.2144,
    },
];

/// Dry carbon dioxide over soil, ppm, seconds 16 to 180 of run 5: means of five readings of the data set of the vignette of
/// the R package RespChamberProc (repository bgctw/RespChamberProc, commit b511b74a).
pub(crate) const SOIL: Means = Means {
    name: "run 5",
    first_s: 18.0,
    step_s: 5.0,
    values: &[
        454.82, 455.18, 455.90, 456.54, 456.88, 457.35, 458.16, 458.43, 459.22, 459.64, 460.09, 460.30, 461.06, 461.55,
        461.91, 462.46, 463.02, 463.43, 463.90, 464.57, 465.12, 465.64, 465.99, 466.38, 466.98, 467.52, 468.04, 468.30,
        469.00, 469.64, 470.25, 470.43, 471.02,
    ],
};
