//! Rows into a recording: zone, order, duplicates, phases, fillers, limits, and the account.

use std::sync::Arc;

use jiff::tz::TimeZone;
use tightfit_quantity::{DewPhase, moisture};

use crate::account::{Account, RowReason};
use crate::assign::Assigned;
use crate::body::Rows;
use crate::channel::{Channel, Kind};
use crate::range::shown_end_of_range;
use crate::recording::{Phase, PressureReference, Series, Status, Stuck};
use crate::state_words::StateWords;
use crate::stuck::stuck_runs;
use crate::switches;
use crate::time::cell::DAY_NS;
use crate::time::{Base, zone};

const SECOND_NS: i64 = 1_000_000_000;

/// What assembling gives; the rest of a recording is known before.
#[derive(Debug, Default)]
pub(crate) struct Assembled {
    pub(crate) series: Vec<Series>,
    pub(crate) cells: Vec<crate::recording::CellCount>,
    pub(crate) account: Account,
    pub(crate) span_s: Option<(f64, f64)>,
    pub(crate) cadence_s: Option<f64>,
    pub(crate) gaps_s: Vec<(f64, f64)>,
    pub(crate) phases: Vec<Phase>,
    pub(crate) backward_steps: usize,
    pub(crate) stuck: Vec<Stuck>,
    pub(crate) notes: Vec<String>,
    pub(crate) clock_changes: Vec<String>,
}

/// Put rows in order, judge repeats, and build the series.
pub(crate) fn assemble(
    mut rows: Rows,
    columns: &[Assigned],
    base: Base,
    zone: Option<&TimeZone>,
    pressure_pa: Option<f64>,
) -> Assembled {
    let mut out = Assembled::default();
    let keep = clean(&mut rows, columns, base, zone, &mut out);
    let order = time_order(&rows, &keep, &mut out);
    let order = judge_repeats(&mut rows, order, &mut out);
    out.account.use_rows(order.len() as u64);
    out.cells = std::mem::take(&mut rows.cells);
    build(rows, &order, columns, base, pressure_pa, &mut out);
    out
}

/// Set aside what is no reading or has no time; true for the rows that stay.
pub(crate) fn clean(
    rows: &mut Rows,
    columns: &[Assigned],
    base: Base,
    zone: Option<&TimeZone>,
    out: &mut Assembled,
) -> Vec<bool> {
    for (reason, line) in std::mem::take(&mut rows.aside) {
        out.account.set_aside(reason, u64::from(line));
    }
    mark_fillers(rows, columns, out);
    let emptied = end_ranges(rows, columns, out);
    for (column, values) in columns.iter().zip(&mut rows.values) {
        out.notes.extend(switches::bring_to_unit(column, values));
    }
    let mut keep = vec![true; rows.len()];
    if emptied || rows.cells.iter().any(|cells| cells.filler > 0) {
        drop_rows_without_reading(rows, &mut keep, out);
    }
    place_in_time(rows, &mut keep, base, zone, out);
    keep
}

/// Values that stand for "no reading": far outside everything else of the column, or impossible in it.
fn mark_fillers(rows: &mut Rows, columns: &[Assigned], out: &mut Assembled) {
    const FILLERS: [f64; 24] = [
        -9999.0, -999.0, -99999.0, -999_999.0, -9999.9, -9999.99, -999.9, -999.99, -99.99, -99.0, -200.0, -7999.0,
        -6999.0, 7999.0, 6999.0, 9999.0, 99999.0, 999_999.0, 9999.9, 9999.99, 32767.0, 65535.0, 9.9e37, 9.91e37,
    ];
    for (i, column) in columns.iter().enumerate() {
        let fillers = FILLERS.map(|filler| column.to_si(filler));
        let is_filler = |value: &f64| fillers.contains(value);
        let values = &rows.values[i];
        if !values.iter().any(&is_filler) {
            continue;
        }
        let mut rest: Vec<f64> =
            values.iter().copied().filter(|value| value.is_finite() && !is_filler(value)).collect();
        let bounds = usual_range(&mut rest);
        let ends = rest.first().copied().zip(rest.last().copied());
        let mut found = 0u64;
        for value in &mut rows.values[i] {
            let outside = bounds.is_some_and(|(low, high)| !(low..=high).contains(value));
            if is_filler(value) && (is_impossible(column, *value) || outside || is_of_other_sign(*value, ends)) {
                *value = f64::NAN;
                found += 1;
            }
        }
        if found > 0 {
            rows.cells[i].filler += found;
            rows.cells[i].measured = rows.cells[i].measured.saturating_sub(found);
            out.notes.push(format!("{}: {found} filler values (such as -9999) set aside", column.channel));
        }
    }
}

/// Readings above a range of which the end is not stated are at least the largest number that was shown; without a number
/// they are none. Whether a reading ceased to be one.
fn end_ranges(rows: &mut Rows, columns: &[Assigned], out: &mut Assembled) -> bool {
    let mut emptied = false;
    for (i, column) in columns.iter().enumerate() {
        let values = &mut rows.values[i];
        let over = values.iter().filter(|value| value.is_infinite()).count();
        if over == 0 {
            continue;
        }
        let numbers = values.iter().copied().filter(|value| value.is_finite());
        let largest = numbers.fold(f64::NAN, f64::max);
        values.iter_mut().filter(|value| value.is_infinite()).for_each(|value| *value = largest);
        if largest.is_nan() {
            rows.cells[i].above_range -= over as u64;
            rows.cells[i].text += over as u64;
            emptied = true;
            continue;
        }
        out.notes.push(format!(
            "{}: readings above the range count as at least the largest number shown, since its end is not stated: state \
             range = \"0 … …\" for the instrument",
            column.channel
        ));
    }
    emptied
}

/// The range of the column, widened by five times its own spread.
fn usual_range(values: &mut [f64]) -> Option<(f64, f64)> {
    if values.is_empty() {
        return None;
    }
    values.sort_unstable_by(f64::total_cmp);
    let (low, high) = (values[values.len() / 100], values[values.len() - 1 - values.len() / 100]);
    let spread = (high - low).max(0.02 * low.abs().max(high.abs()));
    Some((low - 5.0 * spread, high + 5.0 * spread))
}

/// Whether a value lies below zero, and not just by an error of the zero, where nothing else does.
fn is_of_other_sign(value: f64, ends: Option<(f64, f64)>) -> bool {
    const ERROR_OF_ZERO: f64 = 0.01;
    ends.is_some_and(|(lowest, highest)| lowest >= 0.0 && value < -ERROR_OF_ZERO * highest)
}

fn is_impossible(column: &Assigned, value: f64) -> bool {
    /// An error of the zero of an absolute gauge may show a little less than nothing, Pa.
    const BELOW_VACUUM_PA: f64 = -500.0;
    let channel = column.channel;
    match channel.kind() {
        Kind::Pressure if column.reference == PressureReference::Absolute => value < BELOW_VACUUM_PA,
        Kind::Temperature => value < 100.0,
        Kind::MoleFraction if channel == Channel::Water && value > 50.0 => value < 123.0,
        Kind::MoleFraction => !(-5e-4..=1.0).contains(&value),
        Kind::RelativeHumidity => !(-0.05..=1.5).contains(&value),
        Kind::Pressure => match channel {
            Channel::GaugePressure
            | Channel::AntechamberPressure
            | Channel::ReferenceVesselPressure
            | Channel::VesselPressure => value < -120e3,
            _ => value < 0.0,
        },
        // On may be 1, −1, 100 or 255.
        Kind::State => !(-1.0..=255.0).contains(&value),
        Kind::Time | Kind::VolumeFlow | Kind::Volume => false,
    }
}

fn drop_rows_without_reading(rows: &Rows, keep: &mut [bool], out: &mut Assembled) {
    if rows.values.is_empty() {
        return;
    }
    for (row, keep) in keep.iter_mut().enumerate() {
        if rows.values.iter().all(|values| values[row].is_nan()) {
            *keep = false;
            out.account.set_aside(RowReason::NoReading, u64::from(rows.lines[row]));
        }
    }
}

fn place_in_time(rows: &mut Rows, keep: &mut [bool], base: Base, zone: Option<&TimeZone>, out: &mut Assembled) {
    match base {
        Base::Utc => {}
        Base::Offset(seconds) => rows.time_ns.iter_mut().for_each(|time| *time -= i64::from(seconds) * SECOND_NS),
        Base::Local => {
            if let Some(zone) = zone {
                from_local(rows, keep, zone, out);
            }
        }
        Base::ClockOnly => pass_midnight(&mut rows.time_ns, out),
        Base::Elapsed => append_restarts(rows, out),
    }
}

fn from_local(rows: &mut Rows, keep: &mut [bool], zone: &TimeZone, out: &mut Assembled) {
    let conversion = zone::to_utc(&mut rows.time_ns, zone);
    for row in &conversion.skipped {
        if std::mem::replace(&mut keep[*row], false) {
            out.account.set_aside(RowReason::TimeSkipped, u64::from(rows.lines[*row]));
        }
    }
    if !conversion.skipped.is_empty() {
        out.clock_changes.push(format!(
            "{} rows stand in the hour that the clock skipped in spring and were set aside; if the logger keeps winter time, \
             state a fixed offset as time_zone",
            conversion.skipped.len()
        ));
    }
    if conversion.folded > 0 {
        out.clock_changes.push(format!(
            "{} rows stand in the hour that came twice in autumn: {}",
            conversion.folded,
            match conversion.second_pass {
                _ if conversion.fold_guessed => "nothing tells which pass they are, so they are taken as its first; \
                    a fixed offset as time_zone would settle it"
                    .to_owned(),
                0 => "by the order of the rows they are all its first pass".to_owned(),
                second if second == conversion.folded =>
                    "by the order of the rows they are all its second pass".to_owned(),
                second => format!("by the order of the rows the last {second} of them are its second pass"),
            }
        ));
    }
}

/// A clock without date that steps back by more than half a day has passed midnight.
fn pass_midnight(times: &mut [i64], out: &mut Assembled) {
    let mut shift = 0;
    let mut before = i64::MIN;
    for time in times.iter_mut() {
        if before != i64::MIN && before - (*time + shift) > DAY_NS / 2 {
            shift += DAY_NS;
        }
        *time += shift;
        before = *time;
    }
    if shift > 0 {
        out.notes.push(format!("the clock passes midnight {} times; days are counted on", shift / DAY_NS));
    }
    out.notes.push("times have no date: they count from the first row".into());
}

/// An elapsed clock that starts again from its beginning opens a new phase, placed one step behind the last row.
fn append_restarts(rows: &mut Rows, out: &mut Assembled) {
    let times = &mut rows.time_ns;
    let Some(first) = times.first().copied() else { return };
    let step = typical_step(times).unwrap_or(SECOND_NS);
    let mut shift = 0;
    let mut raw_before = first;
    let mut highest = first;
    let mut rows_in_phase = 1;
    for i in 1..times.len() {
        let raw = times[i];
        let goes_on = times[i + 1..]
            .iter()
            .take(3)
            .scan(raw, |last, next| Some(*next >= std::mem::replace(last, *next)))
            .all(|up| up);
        let near_start = raw <= first.saturating_add(step.saturating_mul(3));
        if raw < raw_before && near_start && goes_on && rows_in_phase >= 3 && raw_before - raw > step.saturating_mul(3)
        {
            shift = highest.saturating_add(step).saturating_sub(raw);
            rows_in_phase = 0;
            out.phases.push(Phase {
                line: u64::from(rows.lines[i]),
                time_s: seconds(raw.saturating_add(shift)),
                because: "the elapsed time starts again".into(),
            });
        }
        raw_before = raw;
        times[i] = raw.saturating_add(shift);
        highest = highest.max(times[i]);
        rows_in_phase += 1;
    }
    if !out.phases.is_empty() {
        out.notes.push(format!("the clock restarts {} times; the pause before a restart is not known, each phase is placed one step behind the last", out.phases.len()));
    }
}

fn typical_step(times: &[i64]) -> Option<i64> {
    let mut steps: Vec<i64> =
        times.windows(2).map(|pair| pair[1].saturating_sub(pair[0])).filter(|step| *step > 0).collect();
    if steps.is_empty() {
        return None;
    }
    let middle = steps.len() / 2;
    Some(*steps.select_nth_unstable(middle).1)
}

/// Rows in time order; stable, so that equal times stay in row order.
fn time_order(rows: &Rows, keep: &[bool], out: &mut Assembled) -> Vec<u32> {
    let mut order: Vec<u32> = (0..rows.len() as u32).filter(|row| keep[*row as usize]).collect();
    let time = |row: &u32| rows.time_ns[*row as usize];
    let backwards = order.windows(2).filter(|pair| time(&pair[1]) < time(&pair[0])).count();
    out.backward_steps = backwards;
    if backwards > 0 {
        order.sort_by_key(time);
        out.notes.push(format!(
            "{backwards} times the clock steps back from one row to the next; rows were put in time order"
        ));
    }
    order
}

/// Rows of equal time: a clock coarser than the cadence, a duplicate, or a contradiction.
fn judge_repeats(rows: &mut Rows, order: Vec<u32>, out: &mut Assembled) -> Vec<u32> {
    let time = |row: u32| rows.time_ns[row as usize];
    let repeats: Vec<usize> = (1..order.len())
        .filter(|i| time(order[*i]) == time(order[i - 1]) && overlap(rows, order[*i], order[i - 1]))
        .collect();
    if repeats.is_empty() && !order.windows(3).any(|three| time(three[0]) == time(three[2])) {
        return order;
    }
    let identical = repeats.iter().filter(|i| same_readings(rows, order[**i], order[**i - 1])).count();
    let adjacent = repeats.iter().filter(|i| order[**i].abs_diff(order[**i - 1]) == 1).count();
    // A clock that never moves has no step to spread rows over: it stood still.
    let moves = order.first().zip(order.last()).is_some_and(|(first, last)| time(*first) < time(*last));
    if moves
        && repeats.len() * 7 > order.len()
        && identical * 20 < repeats.len() * 19
        && adjacent * 20 > repeats.len() * 19
    {
        spread_coarse_clock(rows, &order, out);
        return order;
    }
    let mut kept: Vec<u32> = Vec::with_capacity(order.len());
    for row in order {
        let same_time = kept
            .iter()
            .rev()
            .take_while(|before| time(**before) == time(row))
            .filter(|before| overlap(rows, row, **before));
        let mut reason = None;
        for before in same_time {
            if same_readings(rows, row, *before) {
                reason = Some(RowReason::Duplicate);
                break;
            }
            reason = Some(RowReason::SameTime);
        }
        match reason {
            Some(reason) => out.account.set_aside(reason, u64::from(rows.lines[row as usize])),
            None => kept.push(row),
        }
    }
    kept
}

/// Rows of one time contradict each other only where both hold a reading of the same column.
fn overlap(rows: &Rows, a: u32, b: u32) -> bool {
    rows.values.iter().any(|values| !values[a as usize].is_nan() && !values[b as usize].is_nan())
}

fn same_readings(rows: &Rows, a: u32, b: u32) -> bool {
    let status = |statuses: &Vec<u8>, row: u32| statuses.get(row as usize).copied().unwrap_or(0);
    rows.values.iter().all(|values| values[a as usize].to_bits() == values[b as usize].to_bits())
        && rows.status.iter().all(|statuses| status(statuses, a) == status(statuses, b))
}

/// Several rows share each tick of the clock: spread them evenly over the tick.
fn spread_coarse_clock(rows: &mut Rows, order: &[u32], out: &mut Assembled) {
    let times: Vec<i64> = order.iter().map(|row| rows.time_ns[*row as usize]).collect();
    let tick = times.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0).min().unwrap_or(SECOND_NS);
    let mut start = 0;
    while start < times.len() {
        let count = times[start..].iter().take_while(|time| **time == times[start]).count();
        for (i, row) in order[start..start + count].iter().enumerate() {
            rows.time_ns[*row as usize] += tick * i as i64 / count as i64;
        }
        start += count;
    }
    out.notes.push(format!(
        "the clock is coarser than the log: rows that share a time were spread evenly over its step of {} s",
        tick as f64 / 1e9
    ));
}

/// Nanoseconds as seconds, rounded once: whole seconds are exact in a double, all nanoseconds of today are not.
pub(crate) fn seconds(ns: i64) -> f64 {
    ns.div_euclid(SECOND_NS) as f64 + ns.rem_euclid(SECOND_NS) as f64 / 1e9
}

fn build(
    mut rows: Rows,
    order: &[u32],
    columns: &[Assigned],
    base: Base,
    pressure_pa: Option<f64>,
    out: &mut Assembled,
) {
    let origin = match base {
        Base::Elapsed | Base::ClockOnly => order.first().map_or(0, |row| rows.time_ns[*row as usize]),
        Base::Utc | Base::Offset(_) | Base::Local => 0,
    };
    if base == Base::Elapsed && origin != 0 {
        out.notes.push(format!(
            "the first row stands at {} s of the file's own count; times here count from it",
            seconds(origin)
        ));
        for phase in &mut out.phases {
            phase.time_s -= seconds(origin);
        }
    }
    let time_s: Arc<Vec<f64>> =
        Arc::new(order.iter().map(|row| seconds(rows.time_ns[*row as usize].saturating_sub(origin))).collect());
    out.span_s = time_s.first().copied().zip(time_s.last().copied());
    (out.cadence_s, out.gaps_s) = cadence_and_gaps(&time_s);
    // Each column is given up as its series is made, so that no reading is in memory twice.
    drop((std::mem::take(&mut rows.time_ns), std::mem::take(&mut rows.lines)));
    for (i, column) in columns.iter().enumerate() {
        let (values, status) = (std::mem::take(&mut rows.values[i]), std::mem::take(&mut rows.status[i]));
        if let Some(series) = one_series(values, &status, order, column, &time_s) {
            out.series.push(series);
        }
    }
    dew_points_to_fractions(columns, pressure_pa, out);
    for series in &out.series {
        out.stuck.extend(stuck_runs(series, None));
    }
}

fn one_series(
    mut values: Vec<f64>,
    codes: &[u8],
    order: &[u32],
    column: &Assigned,
    time_s: &Arc<Vec<f64>>,
) -> Option<Series> {
    let missing = order.iter().filter(|row| values[**row as usize].is_nan()).count();
    if missing == order.len() {
        return None;
    }
    if let Some(unsaid) = column.words.as_ref().and_then(StateWords::unsaid) {
        values.iter_mut().filter(|value| value.is_nan()).for_each(|value| *value = unsaid);
    }
    let present = || order.iter().enumerate().filter(|(_, row)| !values[**row as usize].is_nan());
    let time_s =
        if missing == 0 { Arc::clone(time_s) } else { Arc::new(present().map(|(at, _)| time_s[at]).collect()) };
    let mut status = Vec::new();
    if !codes.is_empty() {
        status = present().map(|(_, row)| status_of(codes.get(*row as usize).copied())).collect();
    }
    let all_in_order = missing == 0 && order.len() == values.len() && order.is_sorted();
    let value = if all_in_order { values } else { present().map(|(_, row)| values[*row as usize]).collect() };
    let mut series = Series {
        channel: column.channel,
        column: column.header.clone(),
        unit: column.unit_text.clone(),
        reference: column.reference,
        standard_reference: column.standard_reference,
        instrument: column.instrument.clone(),
        time_s,
        value,
        status,
    };
    if !column.is_dew_point() {
        apply_limits(&mut series, column);
    }
    Some(series)
}

fn status_of(code: Option<u8>) -> Status {
    match code {
        Some(1) => Status::BelowLimit,
        Some(2) => Status::AboveRange,
        _ => Status::Measured,
    }
}

/// Readings below the reporting limit or at the end of the range are censored there.
fn apply_limits(series: &mut Series, column: &Assigned) {
    let limit = column.reporting_limit.unwrap_or(f64::NEG_INFINITY);
    let top = column.range.map_or(f64::INFINITY, |range| range.1);
    let shown_top = column.range.map_or(top, |range| shown_end_of_range(&series.value, range));
    if !series.value.iter().any(|value| *value < limit || *value >= shown_top) {
        return;
    }
    series.status.resize(series.value.len(), Status::Measured);
    for (value, status) in series.value.iter_mut().zip(&mut series.status) {
        if *status != Status::Measured {
            continue;
        }
        if *value < limit {
            (*value, *status) = (limit, Status::BelowLimit);
        } else if *value >= shown_top {
            (*value, *status) = (top, Status::AboveRange);
        }
    }
}

/// Dew and frost points become mole fractions at the pressure logged beside them, else at the stated one.
fn dew_points_to_fractions(columns: &[Assigned], pressure_pa: Option<f64>, out: &mut Assembled) {
    let Some(column) = columns.iter().find(|column| column.is_dew_point()) else { return };
    let Some(at) = out.series.iter().position(|series| series.channel == Channel::Water) else { return };
    let mut water = out.series.remove(at);
    let pressure = total_pressure(&out.series, pressure_pa);
    let phase = column.unit.dew_phase().unwrap_or(DewPhase::Ice);
    let mut seen = 0;
    for (time, value) in water.time_s.iter().zip(&mut water.value) {
        *value = moisture::mole_fraction(*value, phase, pressure.at(*time, &mut seen));
    }
    keep_finite(&mut water);
    apply_limits(&mut water, column);
    out.notes.push(format!("water: dew or frost points became mole fractions {}", pressure.words()));
    out.series.insert(at, water);
}

/// At a logged pressure of zero a dew point is no fraction.
fn keep_finite(series: &mut Series) {
    if series.value.iter().all(|value| value.is_finite()) {
        return;
    }
    let keep: Vec<usize> = (0..series.len()).filter(|i| series.value[*i].is_finite()).collect();
    series.time_s = Arc::new(keep.iter().map(|i| series.time_s[*i]).collect());
    if !series.status.is_empty() {
        series.status = keep.iter().map(|i| series.status_at(*i)).collect();
    }
    series.value = keep.iter().map(|i| series.value[*i]).collect();
}

enum TotalPressure<'a> {
    Logged(&'a Series),
    Fixed(f64, &'static str),
}

impl TotalPressure<'_> {
    /// The last logged pressure at or before `time` (the first, before all).
    fn at(&self, time: f64, seen: &mut usize) -> f64 {
        match self {
            Self::Fixed(pressure, _) => *pressure,
            Self::Logged(series) => {
                while *seen + 1 < series.len() && series.time_s[*seen + 1] <= time {
                    *seen += 1;
                }
                series.value[*seen]
            }
        }
    }

    fn words(&self) -> String {
        match self {
            Self::Logged(series) => format!("at the logged {}", series.channel),
            Self::Fixed(pressure, whose) => format!("at {pressure} Pa ({whose})"),
        }
    }
}

fn total_pressure(series: &[Series], stated: Option<f64>) -> TotalPressure<'_> {
    const STANDARD_ATMOSPHERE_PA: f64 = 101_325.0;
    let logged = |channel: Channel| series.iter().find(|series| series.channel == channel && !series.is_empty());
    match (logged(Channel::AbsolutePressure).or_else(|| logged(Channel::RoomPressure)), stated) {
        (Some(series), _) => TotalPressure::Logged(series),
        (None, Some(pressure)) => TotalPressure::Fixed(pressure, "stated"),
        (None, None) => TotalPressure::Fixed(STANDARD_ATMOSPHERE_PA, "no pressure is logged or stated"),
    }
}

/// Median step, and the steps longer than three times that.
fn cadence_and_gaps(time_s: &[f64]) -> (Option<f64>, Vec<(f64, f64)>) {
    let mut steps: Vec<f64> = time_s.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0.0).collect();
    if steps.is_empty() {
        return (None, Vec::new());
    }
    let middle = steps.len() / 2;
    let cadence = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
    let gaps = (1..time_s.len()).filter(|i| is_gap(time_s, *i, cadence)).map(|i| (time_s[i - 1], time_s[i])).collect();
    (Some(cadence), gaps)
}

/// A step is a gap if it is long beside the cadence of the file and beside the steps around it: some loggers slow down.
fn is_gap(time_s: &[f64], i: usize, cadence: f64) -> bool {
    const AROUND: usize = 8;
    let step = time_s[i] - time_s[i - 1];
    if cadence <= 0.0 || step <= 3.0 * cadence {
        return false;
    }
    let near = &time_s[i.saturating_sub(AROUND + 1)..(i + AROUND + 1).min(time_s.len())];
    let mut steps: Vec<f64> = near.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let middle = steps.len() / 2;
    step > 3.0 * *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}
