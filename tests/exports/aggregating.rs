//! Exports larger than memory, gathered into bins.

use std::fmt::Write as _;

use tightfit_ingest::Channel::GaugePressure;
use tightfit_ingest::{BinnedSeries, ReadOptions, aggregate, aggregate_recording, read};

/// A log of some megabytes, large enough to be read in pieces.
fn big_log() -> (tempfile::TempDir, std::path::PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("big.csv");
    let mut text = String::from("Export of a logger\n\ntime,dP (Pa),O2 (ppm),Transfer,Remarks\n");
    for second in 0..120_000u32 {
        let wobble = f64::from(second.wrapping_mul(2_654_435_761) >> 20) / 4096.0;
        let (day, hour, minute, s) = (4 + second / 86_400, second / 3600 % 24, second / 60 % 60, second % 60);
        let oxygen = if second % 1000 == 7 { "<0.1".to_owned() } else { format!("{:.3}", 1.0 + wobble) };
        writeln!(
            text,
            "2026-05-{day:02}T{hour:02}:{minute:02}:{s:02}Z,{:.3},{oxygen},{},",
            -1000.0 + 1e-3 * f64::from(second) + wobble,
            if second % 7000 == 6999 { "in" } else { "" }
        )
        .unwrap();
    }
    text += "End of file\n";
    std::fs::write(&path, text).unwrap();
    (folder, path)
}

/// Number, mean time, mean value and least-squares slope over all bins.
fn line(series: &BinnedSeries) -> (f64, f64, f64, f64) {
    let n: f64 = series.bins.iter().map(|bin| bin.count as f64).sum();
    let time = series.bins.iter().map(|bin| bin.count as f64 * bin.time_s).sum::<f64>() / n;
    let mean = series.bins.iter().map(|bin| bin.count as f64 * bin.mean).sum::<f64>() / n;
    let squares: f64 =
        series.bins.iter().map(|bin| bin.sum_squares_time + bin.count as f64 * (bin.time_s - time).powi(2)).sum();
    let products: f64 = series
        .bins
        .iter()
        .map(|bin| bin.sum_products + bin.count as f64 * (bin.time_s - time) * (bin.mean - mean))
        .sum();
    (n, time, mean, products / squares)
}

#[test]
fn bins_of_a_streamed_file_keep_means_lines_and_the_account() {
    let (_folder, path) = big_log();
    let whole = read(&path, &ReadOptions::default()).unwrap();
    let streamed = aggregate(&path, &ReadOptions::default(), 60.0).unwrap();
    assert_eq!(streamed.recording.account, whole.account);
    assert_eq!(streamed.recording.account.rows_used(), 120_000);
    assert_eq!(streamed.recording.account.by_reason()[0].lines, [120_004]);
    assert_eq!(streamed.recording.span_s, whole.span_s);
    let gathered = aggregate_recording(&whole, 60.0);
    // Words mark 17 transfers, and the remarks are blank.
    assert_eq!((streamed.series.len(), gathered.series.len()), (3, 3));
    for (streamed, gathered) in streamed.series.iter().zip(&gathered.series) {
        assert_eq!(streamed, gathered);
    }
    let series = whole.series(GaugePressure).unwrap();
    let n = series.len() as f64;
    let (time, mean) = (series.time_s.iter().sum::<f64>() / n, series.value.iter().sum::<f64>() / n);
    let squares: f64 = series.time_s.iter().map(|t| (t - time).powi(2)).sum();
    let products: f64 = series.time_s.iter().zip(&series.value).map(|(t, v)| (t - time) * (v - mean)).sum();
    let (count, _, binned_mean, slope) = line(&streamed.series[0]);
    assert_eq!(count, n);
    assert!((binned_mean - mean).abs() < 1e-9 * mean.abs());
    assert!((slope - products / squares).abs() < 1e-9 * slope.abs());
    let oxygen = &streamed.series[1];
    assert_eq!(oxygen.bins.iter().map(|bin| bin.below_limit).sum::<u64>(), 120);
}

#[test]
fn small_files_are_gathered_as_well() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("small.csv");
    std::fs::write(&path, super::support::PLAIN).unwrap();
    let found = aggregate(&path, &ReadOptions::default(), 120.0).unwrap();
    let counts: Vec<u64> = found.series[0].bins.iter().map(|bin| bin.count).collect();
    assert_eq!(counts, [2, 2, 1]);
    assert_eq!((found.series[0].bins[0].min, found.series[0].bins[0].max), (-1000.0, -999.0));
}
