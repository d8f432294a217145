//! From a pressure log to the oxygen that is left.

use super::cycle_finder::{self, Found};
use super::dilution::{Dilution, Draw, Source, own_pa};
use super::in_leak::LeakRate;
use super::{Antechamber, AntechamberError, Cycle, Note, Record, Series, Settings, in_leak};
use crate::input::InputError;
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate, Kind, Samples};

const PPM: f64 = 1e6;
const FEWEST: usize = 8;
const DRAWS: usize = 4000;
const DRAWS_OF_A_LINE: usize = 800;
/// The gauge tells a pressure from nothing when it reads so many standard uncertainties above zero.
const TELLS: f64 = 1.96;
/// Readings of a cycle below which a cycle may go unseen: with a reading every 60 s, seven a cycle, one simulated record in
/// fifteen was miscounted.
const READINGS_OF_A_CYCLE: f64 = 12.0;
/// Factor by which a leak that is not resolved may raise the upper end before there is only a bound.
const DECIDES: f64 = 1.5;
/// Share of the residual oxygen from which a source is worth a word.
const MATTERS: f64 = 0.1;

/// Evaluates the cycles of an antechamber.
///
/// Lowest and highest pressure of each cycle come from the readings about them. Zero of the gauge, barometer and (for a
/// gauge that counts from the room) scale err alike in all cycles; noise and steps of the display do not. The residual
/// oxygen is drawn from all of them, lowest pressures being positive, together with what leaked in and what the
/// backfill carried. Where the gauge cannot tell the lowest pressure from nothing, the result is an upper bound.
///
/// Checked by simulation: see `tests/coverage/antechamber.rs` and the method's page.
///
/// # Errors
/// When the record or the settings allow no estimate at all; see [`AntechamberError`].
pub fn evaluate(record: &Record<'_>, settings: &Settings) -> Result<Antechamber, AntechamberError> {
    check(record, settings)?;
    let pressure = in_window(record, settings)?;
    let mut settings = settings.clone();
    if settings.gauge.resolution <= 0.0 {
        settings.gauge.resolution = display_step(pressure.value()).unwrap_or(0.0);
    }
    let settings = &settings;
    let room_pa = record.room_pressure_pa.value;
    let found = cycle_finder::find(pressure, room_pa, settings.gauge.resolution);
    let (Some(first), Some(last)) = (found.cycles.first(), found.cycles.last()) else {
        let fold = |start, pick: fn(f64, f64) -> f64| pressure.value().iter().copied().fold(start, pick);
        return Err(AntechamberError::NoCycle {
            range_pa: [fold(f64::INFINITY, f64::min), fold(f64::NEG_INFINITY, f64::max)],
        });
    };
    let window_s = [first.pump_s, last.end_s];
    let from_holds = in_leak::from_holds(&Record { pressure, ..*record }, settings, &found.cycles);
    // Without the chamber's volume, holds were evaluated for one of 1 m³.
    let unit_m3 = settings.volume_m3.map_or(1.0, |volume| volume.value);
    let known = settings.leak_throughput.as_ref().filter(|_| settings.volume_m3.is_some()).or(from_holds.as_ref());
    let leak = known.map(|leak| leak.scaled(1.0 / unit_m3));
    let mut dilution = Dilution {
        cycles: &found.cycles,
        settings,
        room_pa,
        room_uncertainty_pa: record.room_pressure_pa.standard_uncertainty,
        leak: LeakRate::none(),
        cadence_s: pressure.cadence_s(),
    };
    // Of a few readings nobody knows the noise: it is no more than what the gauge may be off.
    let noise_pa = |cycle: &Cycle| if cycle.noise_seen { 0.0 } else { settings.gauge.zero };
    let own = |cycle: &Cycle| own_pa(settings, cycle).hypot(noise_pa(cycle));
    dilution.leak = LeakRate::new(leak.as_ref(), &found.cycles, own, dilution.common_pa());
    let mut notes = circumstances(&found, pressure);
    let least_common_pa = least_common(&dilution, &mut notes);
    let draws = dilution.draws(DRAWS, Source::All, least_common_pa);
    let resolved = known.is_some_and(|leak| leak.kind == Kind::Estimate);
    let mut residual_oxygen = residual(&dilution, &draws, least_common_pa, &mut notes);
    if !resolved && leak_decides(&dilution, &residual_oxygen, least_common_pa) {
        residual_oxygen = residual_oxygen.into_upper_bound();
        notes.push(Note::LeakDecides);
    }
    match (&from_holds, known) {
        (_, None) => notes.push(Note::LeakNotKnown),
        (Some(leak), _) if leak.kind != Kind::Estimate => notes.push(Note::NoRise),
        _ => {}
    }
    if residual_oxygen.kind == Kind::Estimate {
        sources(&draws, &mut notes);
    }
    let cycles_needed = settings.target.map(|target| needed(&draws, settings, target, &mut notes));
    notes.push(Note::OutgassingExcluded);
    Ok(Antechamber {
        cycle_count: found.cycles.len(),
        oxygen_step: step(&residual_oxygen, settings),
        residual_oxygen,
        leak_throughput: from_holds.filter(|_| settings.volume_m3.is_some()).or(settings.leak_throughput.clone()),
        cycles_needed,
        window_s,
        series: series(pressure, &found, &draws),
        cycles: found.cycles.clone(),
        notes,
    })
}

fn check(record: &Record<'_>, settings: &Settings) -> Result<(), AntechamberError> {
    let positive = [
        ("pressure of the room", Some(record.room_pressure_pa.value)),
        ("volume of the antechamber", settings.volume_m3.map(|volume| volume.value)),
        ("volume of the enclosure", settings.enclosure_m3.map(|volume| volume.value)),
        ("target", settings.target),
    ];
    match positive.into_iter().find_map(|(what, value)| Some((what, value?)).filter(|(_, value)| !(*value > 0.0))) {
        Some((what, value)) => Err(InputError::NotPositive { what, value }.into()),
        None => Ok(()),
    }
}

fn in_window<'a>(record: &Record<'a>, settings: &Settings) -> Result<Samples<'a>, AntechamberError> {
    let pressure = match settings.window_s {
        None => record.pressure,
        Some([from_s, to_s]) => {
            record.pressure.between(from_s, to_s).ok_or_else(|| InputError::WindowOutsideRecord {
                window_s: [from_s, to_s],
                record_s: [record.pressure.first_time_s(), record.pressure.last_time_s()],
            })?
        }
    };
    if pressure.len() < FEWEST {
        return Err(AntechamberError::TooFewReadings { found: pressure.len(), needed: FEWEST });
    }
    Ok(pressure)
}

/// Step of a display, where its readings move in multiples of one: it is part of the uncertainty though nobody stated it.
fn display_step(values: &[f64]) -> Option<f64> {
    let highest = values.iter().fold(0.0_f64, |a, b| a.max(b.abs()));
    let moves: Vec<f64> =
        values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|step| *step > 1e-9 * highest).collect();
    let step = moves.iter().copied().reduce(f64::min)?;
    let still = values.len() - 1 - moves.len();
    let whole = |move_: &&f64| (*move_ / step - (*move_ / step).round()).abs() < 0.02;
    let multiples = moves.iter().filter(whole).count();
    (5 * still > values.len() && 50 * multiples > 49 * moves.len()).then_some(step)
}

fn circumstances(found: &Found, pressure: Samples<'_>) -> Vec<Note> {
    let mut notes = Vec::new();
    let flags = [
        (found.transfers > 1, Note::SeveralTransfers { transfers: found.transfers }),
        (found.begins_evacuated && found.transfers == 1, Note::BeginsEvacuated),
        (found.not_backfilled, Note::NotBackfilled),
        (found.partial_rises > 0, Note::PartialRise { times: found.partial_rises }),
        (
            found.cycles.iter().any(|cycle| cycle.unseen_fall.is_some()),
            Note::SampledTooSlowly { cadence_s: pressure.cadence_s() },
        ),
    ];
    notes.extend(flags.into_iter().filter(|(is, _)| *is).map(|(_, note)| note));
    let shortest_s = found.cycles.iter().map(|cycle| cycle.full_s - cycle.pump_s).fold(f64::INFINITY, f64::min);
    if pressure.cadence_s() * READINGS_OF_A_CYCLE > shortest_s {
        let needed_s = (shortest_s / READINGS_OF_A_CYCLE).floor().max(1.0);
        notes.push(Note::MayMissCycles { cadence_s: pressure.cadence_s(), needed_s });
    }
    notes
}

/// Where readings lie below zero by more than what is stated, the common error must be that large.
fn least_common(dilution: &Dilution<'_>, notes: &mut Vec<Note>) -> f64 {
    let lowest = dilution.cycles.iter().map(|cycle| cycle.low_pa).fold(f64::INFINITY, f64::min);
    if lowest >= 0.0 {
        return 0.0;
    }
    notes.push(Note::BeyondVacuum { by_pa: -lowest });
    if -lowest > 3.0 * dilution.common_pa() { -lowest / 2.0 } else { 0.0 }
}

fn residual(dilution: &Dilution<'_>, draws: &[Draw], least_common_pa: f64, notes: &mut Vec<Note>) -> Estimate {
    let last = |draw: &Draw| draw.oxygen.last().copied().unwrap_or(f64::NAN) * PPM;
    let distribution = weighted(draws, last);
    let lines = [
        ("gauge and barometer, common to all cycles", Source::Gauge),
        ("noise, steps and sampling of the gauge", Source::Readings),
        ("what leaks in", Source::Leak),
        ("backfill gas", Source::Supply),
        ("temperature of the gas", Source::Temperature),
    ];
    let budget = lines.map(|(words, source)| {
        let alone = dilution.draws(DRAWS_OF_A_LINE, source, least_common_pa);
        BudgetLine::new(words, weighted(&alone, last).standard_deviation())
    });
    let budget = budget.into_iter().filter(|line| line.standard_uncertainty > 0.0).collect();
    let mut estimate = Estimate::from_distribution(distribution, budget);
    let worst = dilution.cycles.iter().min_by(|a, b| a.low_pa.total_cmp(&b.low_pa));
    if dilution.significance() < TELLS || least_common_pa > 0.0 {
        estimate = estimate.into_upper_bound();
        if let Some(cycle) = worst {
            let uncertainty = dilution.common_pa().max(least_common_pa).hypot(own_pa(dilution.settings, cycle));
            notes.push(Note::GaugeCannotTell { lowest_pa: [cycle.low_pa, uncertainty] });
        }
    } else if estimate.interval95[1] > 1.5 * estimate.interval95[0] {
        let gauge = estimate.budget.first().is_some_and(|line| line.source.contains("gauge"));
        if gauge {
            notes.push(Note::GaugeDominates { factor: estimate.interval95[1] / estimate.interval95[0] });
        }
    }
    estimate
}

/// Whether the upper end hinges on a leak that the record does not resolve.
fn leak_decides(dilution: &Dilution<'_>, residual: &Estimate, least_common_pa: f64) -> bool {
    let without = Dilution { leak: LeakRate::none(), ..*dilution };
    let draws = without.draws(DRAWS_OF_A_LINE, Source::All, least_common_pa);
    let last = |draw: &Draw| draw.oxygen.last().copied().unwrap_or(f64::NAN) * PPM;
    residual.interval95[1] > DECIDES * weighted(&draws, last).quantile(0.975)
}

/// Distribution of a quantity over weighted draws.
fn weighted(draws: &[Draw], of: impl Fn(&Draw) -> f64) -> Distribution {
    let mut values: Vec<(f64, f64)> = draws
        .iter()
        .map(|draw| (of(draw), draw.weight))
        .filter(|(value, weight)| value.is_finite() && *weight > 0.0)
        .collect();
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = values.iter().map(|(_, weight)| weight).sum();
    let (Some(first), Some(last)) = (values.first(), values.last()) else { return Distribution::normal(f64::NAN, 0.0) };
    if last.0 - first.0 <= 1e-12 * last.0.abs() {
        return Distribution::normal(first.0, 0.0);
    }
    let (mut x, mut cumulative) = (vec![first.0], vec![0.0]);
    let mut sum = 0.0;
    let mut at = 0.0;
    for (value, weight) in &values {
        sum += weight / total;
        if sum - at >= 1.0 / 1000.0 && x.last().is_some_and(|before| value > before) {
            at = sum;
            x.push(*value);
            cumulative.push(sum);
        }
    }
    if x.last().is_some_and(|before| last.0 > *before) {
        x.push(last.0);
        cumulative.push(1.0);
    }
    if let Some(end) = cumulative.last_mut() {
        *end = 1.0;
    }
    Distribution::Tabulated { x, cumulative }
}

/// x·V_a/(V_a + V), ppm.
fn step(residual: &Estimate, settings: &Settings) -> Option<Estimate> {
    let (chamber, enclosure) = (settings.volume_m3?, settings.enclosure_m3?);
    let share = chamber.value / (chamber.value + enclosure.value);
    let relative = |of: crate::ppm_rise::Quantity| of.standard_uncertainty / of.value;
    let from_volumes = (1.0 - share) * relative(chamber).hypot(relative(enclosure));
    let mut estimate = residual.scaled(share);
    if from_volumes > 0.0 {
        let uncertainty = from_volumes * estimate.value;
        let mut budget = estimate.budget.clone();
        budget.push(BudgetLine::new("volumes of antechamber and enclosure", uncertainty));
        let kind = estimate.kind;
        estimate = Estimate::from_distribution(estimate.distribution.with_normal_error(uncertainty), budget);
        estimate.kind = kind;
        estimate.interval95[0] = match kind {
            Kind::UpperBound => f64::NEG_INFINITY,
            _ => estimate.interval95[0].max(0.0),
        };
    }
    Some(estimate)
}

fn sources(draws: &[Draw], notes: &mut Vec<Note>) {
    let mean = |of: &dyn Fn(&Draw) -> f64| {
        let weight: f64 = draws.iter().map(|draw| draw.weight).sum();
        draws.iter().map(|draw| draw.weight * of(draw)).sum::<f64>() / weight.max(1e-300)
    };
    let all = mean(&|draw| draw.oxygen.last().copied().unwrap_or(0.0));
    let leaked = mean(&|draw| draw.leaked) / all;
    let supplied = mean(&|draw| draw.supplied) / all;
    if leaked > MATTERS {
        notes.push(Note::LeakMatters { share: leaked });
    }
    if supplied > MATTERS {
        notes.push(Note::SupplyMatters { share: supplied });
    }
}

/// Cycles after which the target is met, counted with a mean cycle of each draw.
fn needed(draws: &[Draw], settings: &Settings, target: f64, notes: &mut Vec<Note>) -> Estimate {
    let cycles: Vec<(Option<usize>, f64)> =
        draws.iter().map(|draw| (draw.cycles_to(settings.room_oxygen, target), draw.weight)).collect();
    let total: f64 = cycles.iter().map(|(_, weight)| weight).sum();
    let share_up_to = |n: usize| {
        cycles.iter().filter(|(found, _)| found.is_some_and(|found| found <= n)).map(|(_, w)| w).sum::<f64>() / total
    };
    let quantile = |probability: f64| (1..=60).find(|n| share_up_to(*n) >= probability);
    let target_ppm = target * PPM;
    let left = |draw: &Draw| PPM * draw.mean_cycle[1] / (1.0 - draw.mean_cycle[0]).max(1e-9);
    notes.push(match quantile(0.95) {
        Some(cycles) => Note::CyclesNeeded { target_ppm, cycles },
        None => Note::TargetOutOfReach { target_ppm, left_ppm: weighted(draws, left).quantile(0.975) },
    });
    let x: Vec<f64> = (0..=60).map(f64::from).collect();
    let cumulative = (0..=60).map(|n| if n == 60 { 1.0 } else { share_up_to(n) }).collect();
    let mut estimate = Estimate::from_distribution(Distribution::Tabulated { x, cumulative }, Vec::new());
    let whole = |probability: f64| quantile(probability).map_or(f64::INFINITY, |n| n as f64);
    estimate.interval95 = [whole(0.025), whole(0.975)];
    estimate.value = whole(0.5);
    match quantile(0.5) {
        None => Estimate { kind: Kind::NotDetermined, ..estimate },
        Some(_) if estimate.interval95[1].is_infinite() => estimate.into_lower_bound(),
        Some(_) => estimate,
    }
}

fn series(pressure: Samples<'_>, found: &Found, draws: &[Draw]) -> Series {
    // Of a long record the turns must stay: each stretch keeps its lowest and highest reading.
    let size = pressure.len().div_ceil(1500);
    let mut series = Series::default();
    for (time, value) in pressure.time_s().chunks(size).zip(pressure.value().chunks(size)) {
        let by = |a: &usize, b: &usize| value[*a].total_cmp(&value[*b]);
        let (Some(low), Some(high)) = ((0..value.len()).min_by(by), (0..value.len()).max_by(by)) else { continue };
        let mut places = vec![low.min(high), low.max(high)];
        places.dedup();
        for place in places {
            series.time_s.push(time[place]);
            series.pressure_pa.push(value[place]);
        }
    }
    for (index, cycle) in found.cycles.iter().enumerate() {
        let oxygen = weighted(draws, |draw| draw.oxygen[index] * PPM);
        series.oxygen.push((cycle.full_s, [0.025, 0.5, 0.975].map(|p| oxygen.quantile(p))));
    }
    series
}
