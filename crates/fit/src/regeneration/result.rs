//! From channels to phases, times and amounts.

use super::dose::{OXYGEN_PER_HYDROGEN, hydrogen};
use super::flow::{self, Purge};
use super::threshold::{Level, Stretch, total_s};
use super::{Note, Record, Settings, Trace};
use crate::Estimate;
use crate::estimate::BudgetLine;
use crate::simulate::Random;
use crate::uncertainty::Distribution;

/// A regeneration, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Regeneration {
    /// Time at or above the plateau before the evacuation, s.
    pub heating_time: Option<Estimate>,
    /// Time with reducing gas flowing, s.
    pub purge_time: Option<Estimate>,
    /// Time below the threshold pressure, s.
    pub evacuation_time: Option<Estimate>,
    /// Hydrogen given, mol.
    pub hydrogen_dose: Option<Estimate>,
    /// Oxygen capacity that it can restore at most, mol.
    pub oxygen_capacity_restored: Option<Estimate>,
    /// First and last time of the record, s.
    pub window_s: [f64; 2],
    /// What was found, in the order of time.
    pub phases: Vec<Phase>,
    /// What must be known to read the results.
    pub notes: Vec<Note>,
    /// For plots.
    pub series: Series,
}

/// One phase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phase {
    /// Which.
    pub kind: PhaseKind,
    /// From and to, s.
    pub span_s: [f64; 2],
}

/// Kind of a phase.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhaseKind {
    /// At or above the plateau.
    Heating,
    /// Reducing gas flows.
    Purge,
    /// Below the threshold pressure.
    Evacuation,
}

/// Curves for plots, thinned: times in s and values.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Temperature, K.
    pub temperature: (Vec<f64>, Vec<f64>),
    /// Flow, m³/s as the meter shows it.
    pub flow: (Vec<f64>, Vec<f64>),
    /// Pressure, Pa absolute.
    pub pressure: (Vec<f64>, Vec<f64>),
}

const DRAWS: usize = 4000;
/// Instrument errors are tabulated from −4 to 4 standard uncertainties.
const REACH: f64 = 4.0;
const POINTS: usize = 33;

pub(super) fn summarise(record: &Record<'_>, settings: &Settings) -> Regeneration {
    let mut notes = Vec::new();
    let evacuation =
        record.pressure.zip(settings.evacuated_below_pa).map(|(trace, limit)| Evacuation::find(&trace, limit));
    let heating = record.temperature.zip(settings.plateau_k).map(|(trace, plateau)| {
        let end_s = evacuation.as_ref().and_then(|evacuation| evacuation.start_s(0.0));
        Heating::find(&trace, plateau, end_s)
    });
    let purge = record.flow.as_ref().map(flow::find);
    if let Some(heating) = &heating {
        heating.note(evacuation.as_ref(), &mut notes);
    }
    if let (Some(purge), Some(trace)) = (&purge, &record.flow) {
        note_purge(purge, trace, heating.as_ref(), &mut notes);
        if settings.hydrogen_fraction.is_none() {
            notes.push(Note::FractionMissing);
        }
    }
    if let Some(evacuation) = &evacuation {
        evacuation.note(&mut notes);
    }
    note_gaps(heating.as_ref(), purge.as_ref(), evacuation.as_ref(), &mut notes);
    let scale = record.flow.map_or(0.0, |trace| trace.scale);
    let hydrogen_dose = purge.as_ref().and_then(|purge| hydrogen(purge, scale, settings));
    Regeneration {
        heating_time: heating.as_ref().map(|heating| heating.time(evacuation.as_ref())),
        purge_time: purge.as_ref().map(purge_time),
        evacuation_time: evacuation.as_ref().map(Evacuation::time),
        oxygen_capacity_restored: hydrogen_dose.as_ref().map(|dose| dose.scaled(OXYGEN_PER_HYDROGEN)),
        hydrogen_dose,
        window_s: window(record),
        phases: phases(heating.as_ref(), purge.as_ref(), evacuation.as_ref()),
        notes,
        series: series(record),
    }
}

/// Something that depends on an instrument's error, tabulated over it.
struct Table(Vec<f64>);

impl Table {
    fn new(uncertainty: f64, at: impl Fn(f64) -> f64) -> Self {
        if uncertainty <= 0.0 {
            return Self(vec![at(0.0)]);
        }
        Self(
            (0..POINTS)
                .map(|point| at(uncertainty * (2.0 * point as f64 / (POINTS - 1) as f64 - 1.0) * REACH))
                .collect(),
        )
    }

    /// The value for an error of so many standard uncertainties.
    fn at(&self, deviations: f64) -> f64 {
        if self.0.len() == 1 {
            return self.0[0];
        }
        let place = ((deviations / REACH + 1.0) * 0.5).clamp(0.0, 1.0) * (self.0.len() - 1) as f64;
        let low = (place.floor() as usize).min(self.0.len() - 2);
        self.0[low] + (place - low as f64) * (self.0[low + 1] - self.0[low])
    }
}

struct Heating {
    level: Level,
    uncertainty_k: f64,
    plateau_k: f64,
    stretches: Vec<Stretch>,
    table: Table,
}

impl Heating {
    fn find(trace: &Trace<'_>, plateau_k: f64, end_s: Option<f64>) -> Self {
        let level = Level::new(trace, plateau_k);
        let uncertainty_k = trace.zero.hypot(trace.resolution / 12.0_f64.sqrt());
        let before_end = |error_k: f64| cut(level.at_or_above(plateau_k + error_k, |v| v), end_s);
        let stretches = before_end(0.0);
        let table = Table::new(uncertainty_k, |error_k| total_s(&before_end(error_k)));
        Self { level, uncertainty_k, plateau_k, stretches, table }
    }

    fn time(&self, evacuation: Option<&Evacuation>) -> Estimate {
        let edges_s = edge_uncertainty_s(&self.stretches);
        // Where the evacuation ends the heating, its start is uncertain too.
        let ending = evacuation.filter(|evacuation| {
            let start_s = evacuation.start_s(0.0);
            self.stretches.last().zip(start_s).is_some_and(|(last, start_s)| (last.to_s - start_s).abs() < 1e-6)
        });
        let mut random = Random::new(0x4845);
        let draws = (0..DRAWS)
            .map(|_| {
                let heated_s = self.table.at(random.normal());
                let end_s = ending.map_or(0.0, |evacuation| evacuation.start_error_s(&mut random));
                (heated_s + end_s + edges_s * random.normal()).max(0.0)
            })
            .collect();
        let budget = vec![
            BudgetLine::new("thermometer, at the crossings of the plateau", spread(&self.table)),
            BudgetLine::new("start and end between two readings", edges_s),
            BudgetLine::new("start of the evacuation", ending.map_or(0.0, |evacuation| spread(&evacuation.start))),
        ];
        Estimate::from_distribution(Distribution::from_draws(draws), budget)
    }

    fn note(&self, evacuation: Option<&Evacuation>, notes: &mut Vec<Note>) {
        if self.stretches.is_empty() {
            notes.push(Note::PlateauNotReached { highest_k: self.level.largest() });
        }
        if self.stretches.len() > 1 {
            notes.push(Note::HeatingInterrupted { stretches: self.stretches.len() });
        }
        let (low, high) = (self.table.at(2.0), self.table.at(-2.0));
        if self.uncertainty_k > 0.0 && high - low > 0.2 * high {
            notes.push(Note::PlateauWithinUncertainty { thermometer_k: self.uncertainty_k });
        }
        if evacuation.is_none_or(|evacuation| evacuation.stretches.is_empty()) {
            notes.push(Note::NoEvacuationBeforeEnd);
        }
    }

    /// Time of a purge that found the vessel below the plateau, s.
    fn cold_s(&self, purge: &Purge) -> f64 {
        let hot = self.level.at_or_above(self.plateau_k - 2.0 * self.uncertainty_k, |v| v);
        let overlap = |stretch: &Stretch| -> f64 {
            hot.iter().map(|h| (h.to_s.min(stretch.to_s) - h.from_s.max(stretch.from_s)).max(0.0)).sum()
        };
        purge.stretches.iter().map(|stretch| stretch.duration_s() - overlap(stretch)).sum()
    }
}

struct Evacuation {
    level: Level,
    stretches: Vec<Stretch>,
    /// Time below the threshold, s, over the gauge's error.
    table: Table,
    /// Start of the longest stretch, s after that without error.
    start: Table,
}

impl Evacuation {
    fn find(trace: &Trace<'_>, limit_pa: f64) -> Self {
        let level = Level::new(trace, limit_pa);
        let uncertainty_pa = trace.zero.hypot(trace.resolution / 12.0_f64.sqrt());
        let below = |error_pa: f64| level.below(limit_pa + error_pa, f64::ln);
        let stretches = below(0.0);
        let start_s = longest(&stretches).map(|stretch| stretch.from_s);
        let table = Table::new(uncertainty_pa, |error_pa| total_s(&below(error_pa)));
        let start = Table::new(uncertainty_pa, |error_pa| {
            longest(&below(error_pa)).zip(start_s).map_or(0.0, |(stretch, start_s)| stretch.from_s - start_s)
        });
        Self { level, stretches, table, start }
    }

    /// Start of the evacuation for a gauge error of so many standard uncertainties; `None` where it was not found.
    fn start_s(&self, deviations: f64) -> Option<f64> {
        Some(longest(&self.stretches)?.from_s + self.start.at(deviations))
    }

    fn start_error_s(&self, random: &mut Random) -> f64 {
        let edge = longest(&self.stretches).map_or(0.0, |stretch| (0.5 * stretch.edge_variance_s2).sqrt());
        self.start.at(random.normal()) + edge * random.normal()
    }

    fn time(&self) -> Estimate {
        let edges_s = edge_uncertainty_s(&self.stretches);
        let mut random = Random::new(0x4556);
        let draws = (0..DRAWS).map(|_| (self.table.at(random.normal()) + edges_s * random.normal()).max(0.0)).collect();
        let budget = vec![
            BudgetLine::new("pressure gauge, at the crossings of the threshold", spread(&self.table)),
            BudgetLine::new("start and end between two readings", edges_s),
        ];
        Estimate::from_distribution(Distribution::from_draws(draws), budget)
    }

    fn note(&self, notes: &mut Vec<Note>) {
        match self.stretches.len() {
            0 => notes.push(Note::NotEvacuated { lowest_pa: self.level.smallest() }),
            1 => {}
            stretches => notes.push(Note::EvacuationInterrupted { stretches }),
        }
        if self.stretches.last().is_some_and(|last| last.to_s >= self.level.last_s()) {
            notes.push(Note::EndsEvacuated);
        }
    }
}

fn purge_time(purge: &Purge) -> Estimate {
    let edges_s = edge_uncertainty_s(&purge.stretches);
    let budget = vec![BudgetLine::new("start and end between two readings", edges_s)];
    let distribution = Distribution::normal(total_s(&purge.stretches), edges_s);
    Estimate::from_distribution(distribution, budget)
}

fn note_purge(purge: &Purge, trace: &Trace<'_>, heating: Option<&Heating>, notes: &mut Vec<Note>) {
    if purge.stretches.is_empty() {
        notes.push(Note::NoFlow);
        return;
    }
    if purge.stretches.len() > 1 {
        notes.push(Note::PurgeInterrupted { stretches: purge.stretches.len() });
    }
    let flow = purge.volume_m3 / total_s(&purge.stretches);
    if purge.zero_seen && purge.zero.abs() > (3.0 * purge.zero_uncertainty).max(1e-3 * flow) {
        notes.push(Note::FlowZero { share: purge.zero / flow });
    }
    if let Some(cold_s) = heating.map(|heating| heating.cold_s(purge))
        && cold_s > 60.0_f64.max(2.0 * trace.samples.cadence_s())
    {
        notes.push(Note::PurgedCold { cold_s });
    }
}

fn note_gaps(heating: Option<&Heating>, purge: Option<&Purge>, evacuation: Option<&Evacuation>, notes: &mut Vec<Note>) {
    let of_levels = heating.map(|heating| &heating.level).into_iter().chain(evacuation.map(|e| &e.level));
    let longest = of_levels.map(Level::gaps_s).chain(purge.map(|purge| purge.gaps_s)).fold(0.0, f64::max);
    if longest > 0.0 {
        notes.push(Note::Gaps { seconds: longest });
    }
}

fn cut(stretches: Vec<Stretch>, end_s: Option<f64>) -> Vec<Stretch> {
    let Some(end_s) = end_s else { return stretches };
    stretches
        .into_iter()
        .filter(|stretch| stretch.from_s < end_s)
        .map(|stretch| Stretch { to_s: stretch.to_s.min(end_s), ..stretch })
        .collect()
}

fn longest(stretches: &[Stretch]) -> Option<&Stretch> {
    stretches.iter().max_by(|a, b| a.duration_s().total_cmp(&b.duration_s()))
}

fn edge_uncertainty_s(stretches: &[Stretch]) -> f64 {
    stretches.iter().map(|stretch| stretch.edge_variance_s2).sum::<f64>().sqrt()
}

/// Half of what one standard uncertainty to either side changes.
fn spread(table: &Table) -> f64 {
    0.5 * (table.at(1.0) - table.at(-1.0)).abs()
}

fn phases(heating: Option<&Heating>, purge: Option<&Purge>, evacuation: Option<&Evacuation>) -> Vec<Phase> {
    let of = |kind, stretches: &[Stretch]| {
        stretches.iter().map(move |s| Phase { kind, span_s: [s.from_s, s.to_s] }).collect::<Vec<_>>()
    };
    let mut phases = heating.map(|heating| of(PhaseKind::Heating, &heating.stretches)).unwrap_or_default();
    phases.extend(purge.map(|purge| of(PhaseKind::Purge, &purge.stretches)).unwrap_or_default());
    phases.extend(evacuation.map(|e| of(PhaseKind::Evacuation, &e.stretches)).unwrap_or_default());
    phases.sort_by(|a, b| a.span_s[0].total_cmp(&b.span_s[0]));
    phases
}

fn traces<'a>(record: &Record<'a>) -> impl Iterator<Item = Trace<'a>> {
    record.temperature.into_iter().chain(record.flow).chain(record.pressure)
}

fn window(record: &Record<'_>) -> [f64; 2] {
    traces(record).fold([f64::INFINITY, f64::NEG_INFINITY], |[from, to], trace| {
        [from.min(trace.samples.first_time_s()), to.max(trace.samples.last_time_s())]
    })
}

fn series(record: &Record<'_>) -> Series {
    let thinned = |trace: Option<Trace<'_>>| {
        let Some(trace) = trace else { return (Vec::new(), Vec::new()) };
        let stride = trace.samples.len().div_ceil(3000);
        let every = |values: &[f64]| values.iter().step_by(stride).copied().collect();
        (every(trace.samples.time_s()), every(trace.samples.value()))
    };
    Series { temperature: thinned(record.temperature), flow: thinned(record.flow), pressure: thinned(record.pressure) }
}
