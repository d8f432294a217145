//! Results of tests made while the log ran or after, as rows beside those of the log.

use super::feature::{Circumstances, Kind, Row, Stream, compress};
use super::log::Tested;

/// A test is made under circumstances of its own: relative standard deviation that this adds.
const OWN: f64 = 0.1;

/// Adds the results to the streams of their kind, or as streams of their own.
pub(super) fn add(streams: &mut Vec<Stream>, tested: &[Tested], start_s: f64, duration_h: f64) {
    for result in tested.iter().filter(|result| result.known.value > 0.0 && result.known.value.is_finite()) {
        let time_h = ((result.time_s - start_s) / 3600.0).clamp(0.0, duration_h);
        let under_pressure_pa = result.under_pressure_pa.unwrap_or_else(|| usual_under_pressure(streams));
        let at = Circumstances { under_pressure_pa, makeup: 1.0, ..Circumstances::default() };
        let value = result.known.value;
        let sd = (result.known.standard_uncertainty / value).min(1.5).hypot(OWN);
        let place = streams.iter().position(|stream| stream.kind == result.kind).unwrap_or_else(|| {
            let scale = if matches!(result.kind, Kind::Rise(_)) { 0.2 * value } else { 0.0 };
            streams.push(Stream { kind: result.kind, scale, rows: Vec::new() });
            streams.len() - 1
        });
        let stream = &mut streams[place];
        // Decays and leakages are compared as logarithms, rises on their stream's scale.
        let y = if stream.scale > 0.0 { compress(value, stream.scale) } else { value.ln() };
        let value = if stream.scale > 0.0 { value } else { y };
        let before = stream.rows.partition_point(|row| row.time_h <= time_h);
        stream.rows.insert(before, Row { time_h, value, y, sd, censored: false, at });
    }
}

fn usual_under_pressure(streams: &[Stream]) -> f64 {
    let rows = || streams.iter().flat_map(|stream| &stream.rows);
    rows().map(|row| row.at.under_pressure_pa).sum::<f64>() / (rows().count() as f64).max(1.0)
}
