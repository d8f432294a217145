//! Two-point evaluation: the algebra that ISO 10648-2:1994 describes for the pressure-change method.
//!
//! The formula is given from memory of the standard and consistent with secondary summaries.

/// Hourly leak rate from two readings, 1/h: `T_f = (60/t)·(p₂T₁/(p₁T₂) − 1)` with t in minutes.
///
/// Pressures absolute in Pa, temperatures in K, `duration_s` in s; positive when gas came in. The sign "towards the
/// room" is the caller's business: it knows on which side of the room's pressure the enclosure was.
pub fn two_point_rate_per_h(p1_pa: f64, t1_k: f64, p2_pa: f64, t2_k: f64, duration_s: f64) -> f64 {
    let minutes = duration_s / 60.0;
    (60.0 / minutes) * (p2_pa * t1_k / (p1_pa * t2_k) - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn warming_alone_is_no_leak() {
        assert!(two_point_rate_per_h(100_000.0, 290.0, 100_000.0 * 300.0 / 290.0, 300.0, 3600.0).abs() < 1e-15);
    }

    #[test]
    fn a_rise_of_fifty_pascal_an_hour_is_about_class_one() {
        let rate = two_point_rate_per_h(100_825.0, 295.0, 100_875.0, 295.0, 3600.0);
        assert!((rate - 50.0 / 100_825.0).abs() < 1e-12);
    }
}
