//! From runs to what comes through leaks and what by permeation.

use super::posterior::{Domain, Posterior, SpeciesRuns, correlation, normal_conductance};
use super::run_likelihood::RunLikelihood;
use super::{Consistency, ExtraRun, Note, PpmRiseSeries, PpmRiseSeriesError, Run, RunPoint, Settings};
use crate::input::InputError;
use crate::ppm_rise::{Quantity, RoomAir, Species};
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate, Kind};
use statrs::distribution::{ContinuousCDF, Normal};

/// ppm/h in 1/s.
const PPM_PER_H: f64 = 3600.0 * 1e6;
const SPECIES: [Species; 2] = [Species::Oxygen, Species::Water];

/// Evaluates runs together: r = (G/V)·max(0, −Δp)/p_room·x_air + π for each run and species.
///
/// Evaluate each run with an analyser scale of 0 and state the scale in the settings: it is common to all runs.
///
/// Where the runs (or a pressure-change test) separate leak from permeation, intervals are those of the fit with free
/// signs, cut at zero: they hold the truth in 95 % of the series even where it is next to zero. Where they do not, the
/// parts are bounds from the posterior with nothing negative, and a note says which run would separate them.
///
/// # Errors
/// [`PpmRiseSeriesError`] without any run that determines an ingress, or with a pressure that is not positive.
pub fn evaluate(runs: &[Run], settings: &Settings) -> Result<PpmRiseSeries, PpmRiseSeriesError> {
    positive("the room's pressure", settings.room_pressure_pa)?;
    for run in runs {
        positive("the room's pressure", run.room_pressure_pa)?;
    }
    let species = SPECIES.map(|s| species_runs(runs, settings, s));
    if species.iter().all(|s| s.runs.is_empty()) {
        return Err(PpmRiseSeriesError::NoRuns);
    }
    let pressure = settings.conductance_from_pressure.filter(|p| p.standard_uncertainty > 0.0);
    let separable = is_separable(&species, pressure);
    let domain = if separable { Domain::Real } else { Domain::NotNegative };
    let series = Series { runs, settings, species: &species, pressure, domain };
    Ok(match Posterior::new(&species, pressure, domain) {
        Some(posterior) => series.result(&posterior),
        None => series.without_leak(),
    })
}

fn positive(what: &'static str, value: f64) -> Result<(), PpmRiseSeriesError> {
    if value > 0.0 && value.is_finite() { Ok(()) } else { Err(InputError::NotPositive { what, value }.into()) }
}

/// Ingress through leaks of a species per unit of G/V, ppm/h per 1/s.
fn leak_coefficient(species: Species, difference_pa: f64, room_pa: f64, air: &RoomAir) -> f64 {
    PPM_PER_H * (-difference_pa).max(0.0) / room_pa * in_air(species, air).value
}

fn in_air(species: Species, air: &RoomAir) -> Quantity {
    match species {
        Species::Oxygen => air.oxygen,
        Species::Water => air.water,
    }
}

fn ingress_of(run: &Run, species: Species) -> Option<&Estimate> {
    match species {
        Species::Oxygen => run.oxygen_ingress.as_ref(),
        Species::Water => run.water_ingress.as_ref(),
    }
}

fn species_runs(runs: &[Run], settings: &Settings, species: Species) -> SpeciesRuns {
    let likelihood = |run: &Run| {
        let c = leak_coefficient(species, run.pressure_difference_pa, run.room_pressure_pa, &run.room_air);
        RunLikelihood::new(ingress_of(run, species)?, c)
    };
    let scale = match species {
        Species::Oxygen => settings.oxygen_scale,
        Species::Water => settings.water_scale,
    };
    let air = runs.iter().map(|run| relative(in_air(species, &run.room_air))).fold(0.0, f64::max);
    let runs: Vec<RunLikelihood> = runs.iter().filter_map(likelihood).collect();
    let values = runs.iter().filter(|run| !run.is_bound).count();
    // The same walls outgas in all runs: where the model of water errs, it errs in all of them alike, and several runs are
    // no more looks at the water than one.
    let power = if species == Species::Water { 1.0 / values.max(1) as f64 } else { 1.0 };
    SpeciesRuns { runs, scale, air, power }
}

fn relative(quantity: Quantity) -> f64 {
    if quantity.value > 0.0 { quantity.standard_uncertainty / quantity.value } else { 0.0 }
}

/// Whether the interval of the leak with free signs is narrower than "between nothing and all".
fn is_separable(species: &[SpeciesRuns], pressure: Option<Quantity>) -> bool {
    let Some((_, spread)) = normal_conductance(species, pressure) else { return false };
    species
        .iter()
        .filter_map(SpeciesRuns::at_strongest_leak)
        .any(|(coefficient, whole)| 1.96 * spread * coefficient < whole)
}

struct Series<'a> {
    runs: &'a [Run],
    settings: &'a Settings,
    species: &'a [SpeciesRuns; 2],
    pressure: Option<Quantity>,
    domain: Domain,
}

impl Series<'_> {
    fn result(&self, posterior: &Posterior) -> PpmRiseSeries {
        let settings = self.settings;
        let conductance = posterior.conductance();
        let coefficient = |s: Species| {
            leak_coefficient(s, settings.reference_pressure_pa, settings.room_pressure_pa, &settings.room_air)
        };
        let to_hourly = 3600.0 * settings.reference_pressure_pa.abs() / settings.room_pressure_pa;
        let leak = |s: Species| {
            let relative = relative(in_air(s, &settings.room_air));
            let distribution = conductance.scaled(coefficient(s));
            let widened = distribution.with_normal_error(relative * distribution.median().abs());
            self.part(&widened)
        };
        let has = |s: Species| !self.species[s as usize].runs.is_empty();
        let likely = [0.025, 0.975].map(|p| conductance.quantile(p).max(0.0));
        let only_bounds = |s: Species| self.domain == Domain::Real && self.species[s as usize].is_bounded_only();
        let bound = |s: Species, c: f64| {
            at_most(self.species[s as usize].highest_ingress(c, likely)).at(settings.reference_pressure_pa)
        };
        let sum = |s: Species| {
            if only_bounds(s) {
                return Some(bound(s, coefficient(s)));
            }
            let total = posterior.ingress(s as usize, coefficient(s))?;
            Some(not_negative(Estimate::from_distribution(total, Vec::new())).at(settings.reference_pressure_pa))
        };
        let permeation = |s: Species| {
            if only_bounds(s) {
                return Some(bound(s, 0.0));
            }
            Some(self.part(&posterior.ingress(s as usize, 0.0)?))
        };
        let points = self.points(posterior);
        let mut result = PpmRiseSeries {
            oxygen_ingress: sum(Species::Oxygen),
            water_ingress: sum(Species::Water),
            oxygen_from_leak: has(Species::Oxygen).then(|| leak(Species::Oxygen)),
            oxygen_from_permeation: permeation(Species::Oxygen),
            water_from_leak: has(Species::Water).then(|| leak(Species::Water)),
            water_from_permeation: permeation(Species::Water),
            hourly_leak_rate: self.part(&conductance.scaled(to_hourly)),
            conductance_per_volume: self.part(&conductance),
            correlation: correlation(self.species, self.pressure),
            consistency: self.consistency(),
            points,
            notes: Vec::new(),
        };
        result.notes = self.notes(&result);
        result
    }

    /// A part: an estimate that is not negative, or a bound where the runs do not separate.
    fn part(&self, distribution: &Distribution) -> Estimate {
        let estimate = Estimate::from_distribution(distribution.clone(), Vec::new());
        let mut estimate = match self.domain {
            Domain::Real => not_negative(estimate),
            Domain::NotNegative => {
                let bound = estimate.interval95[1];
                Estimate { kind: Kind::UpperBound, value: bound, interval95: [f64::NEG_INFINITY, bound], ..estimate }
            }
        };
        estimate.at_pa = Some(self.settings.reference_pressure_pa);
        estimate
    }

    /// No run lets air in through leaks and no pressure was tested: all of the ingress is permeation.
    fn without_leak(&self) -> PpmRiseSeries {
        let unknown = Estimate {
            value: f64::NAN,
            standard_uncertainty: f64::INFINITY,
            interval95: [f64::NEG_INFINITY, f64::INFINITY],
            kind: Kind::NotDetermined,
            degrees_of_freedom: f64::INFINITY,
            distribution: Distribution::normal(0.0, f64::INFINITY),
            budget: Vec::new(),
            at_pa: Some(self.settings.reference_pressure_pa),
            upper95: None,
        };
        let nothing = Quantity::new(0.0, 1e-30);
        let posterior = Posterior::new(self.species, Some(nothing), Domain::Real);
        let permeation = |s: Species| {
            let distribution = posterior.as_ref()?.ingress(s as usize, 0.0)?;
            Some(not_negative(Estimate::from_distribution(distribution, Vec::new())))
        };
        let has = |s: Species| (!self.species[s as usize].runs.is_empty()).then(|| unknown.clone());
        let notes = SPECIES
            .iter()
            .filter(|s| has(**s).is_some())
            .map(|&species| Note::NotSeparable { species, extra_run: ExtraRun::AtUnderPressure })
            .collect();
        PpmRiseSeries {
            oxygen_ingress: has(Species::Oxygen),
            water_ingress: has(Species::Water),
            oxygen_from_leak: has(Species::Oxygen),
            oxygen_from_permeation: permeation(Species::Oxygen),
            water_from_leak: has(Species::Water),
            water_from_permeation: permeation(Species::Water),
            hourly_leak_rate: unknown.clone(),
            conductance_per_volume: unknown,
            correlation: [[0.0; 3]; 3],
            consistency: None,
            points: posterior.as_ref().map_or_else(Vec::new, |posterior| self.points(posterior)),
            notes,
        }
    }

    fn consistency(&self) -> Option<Consistency> {
        let pressure = self.pressure?;
        let (value, spread) = normal_conductance(self.species, None)?;
        let pull = (value - pressure.value) / spread.hypot(pressure.standard_uncertainty);
        Some(Consistency {
            from_rises_per_s: [value, spread],
            from_pressure_per_s: [pressure.value, pressure.standard_uncertainty],
            pull,
            p_value: 2.0 * Normal::standard().cdf(-pull.abs()),
        })
    }

    fn points(&self, posterior: &Posterior) -> Vec<RunPoint> {
        let conductance = posterior.conductance().median().max(0.0);
        let mut points = Vec::new();
        for species in SPECIES {
            let Some(permeation) = posterior.ingress(species as usize, 0.0).map(|d| d.median().max(0.0)) else {
                continue;
            };
            for run in self.runs {
                let Some(estimate) = ingress_of(run, species) else { continue };
                let c = leak_coefficient(species, run.pressure_difference_pa, run.room_pressure_pa, &run.room_air);
                let Some(likelihood) = RunLikelihood::new(estimate, c) else { continue };
                let fitted = conductance * c + permeation;
                let above = (likelihood.centre - fitted) / likelihood.standard_deviation;
                points.push(RunPoint {
                    name: run.name.clone(),
                    species,
                    pressure_difference_pa: run.pressure_difference_pa,
                    ingress_ppm_per_h: [likelihood.centre, likelihood.standard_deviation],
                    fitted_ppm_per_h: fitted,
                    leak_ppm_per_h: conductance * c,
                    pull: if likelihood.is_bound { above.min(0.0) } else { above },
                    is_bound: likelihood.is_bound,
                });
            }
        }
        points
    }

    fn notes(&self, result: &PpmRiseSeries) -> Vec<Note> {
        let mut notes = Vec::new();
        if self.domain == Domain::NotNegative {
            let extra_run = self.extra_run();
            let measured = SPECIES.into_iter().filter(|s| !self.species[*s as usize].runs.is_empty());
            notes.extend(measured.map(|species| Note::NotSeparable { species, extra_run }));
        } else {
            notes.extend(unseen(result));
        }
        notes.extend(result.consistency.map(compared));
        notes.extend(self.through_leaks(&result.conductance_per_volume));
        for point in &result.points {
            let (name, species) = (point.name.clone(), point.species);
            if point.is_bound {
                notes.push(Note::RunIsBound { name, species });
            } else if point.pull.abs() > 3.5 {
                notes.push(Note::RunStandsOut { name, species, pull: point.pull });
            }
        }
        notes
    }

    /// The leak as air, for other pressures than the reference.
    fn through_leaks(&self, conductance: &Estimate) -> Option<Note> {
        let settings = self.settings;
        let per_h = conductance.value * 3600.0 * 100.0 / settings.room_pressure_pa;
        (conductance.kind == Kind::Estimate && per_h > 0.0).then_some(Note::ThroughLeaks {
            oxygen_ppm_per_h: per_h * settings.room_air.oxygen.value * 1e6,
            air_per_h: per_h,
        })
    }

    fn extra_run(&self) -> ExtraRun {
        let pressures = || self.runs.iter().map(|run| run.pressure_difference_pa);
        let lowest = pressures().fold(f64::INFINITY, f64::min);
        let highest = pressures().fold(f64::NEG_INFINITY, f64::max);
        if lowest > -100.0 {
            ExtraRun::AtUnderPressure
        } else if highest < 0.5 * lowest {
            ExtraRun::AtOverPressure
        } else {
            ExtraRun::Longer
        }
    }
}

fn compared(consistency: Consistency) -> Note {
    let Consistency {
        from_rises_per_s: [rises, u_rises], from_pressure_per_s: [pressure, u_pressure], p_value, ..
    } = consistency;
    if p_value < 0.01 {
        return Note::ConductancesDisagree { p_value };
    }
    let standard_uncertainty = (u_rises / pressure).hypot(rises * u_pressure / pressure.powi(2));
    Note::ConductancesAgree { ratio: rises / pressure, standard_uncertainty, p_value }
}

/// Parts that are not distinguishable from none.
fn unseen(result: &PpmRiseSeries) -> Vec<Note> {
    let parts = [
        (&result.oxygen_from_leak, Species::Oxygen, true),
        (&result.oxygen_from_permeation, Species::Oxygen, false),
        (&result.water_from_leak, Species::Water, true),
        (&result.water_from_permeation, Species::Water, false),
    ];
    parts
        .into_iter()
        .filter(|(part, _, _)| part.as_ref().is_some_and(|e| e.kind == Kind::Estimate && e.interval95[0] <= 0.0))
        .map(|(_, species, leak)| Note::PartNotSeen { species, leak })
        .collect()
}

/// An upper bound below which nothing favours one value over another.
fn at_most(highest: f64) -> Estimate {
    let distribution = Distribution::from_density(vec![0.0, highest], &[1.0, 1.0]);
    Estimate {
        kind: Kind::UpperBound,
        value: highest,
        interval95: [f64::NEG_INFINITY, highest],
        ..Estimate::from_distribution(
            distribution,
            vec![BudgetLine::new("bounds of the runs", highest / 12.0_f64.sqrt())],
        )
    }
}

/// Value and interval cut at zero; the distribution stays, since conformance probabilities know that nothing is
/// negative.
fn not_negative(mut estimate: Estimate) -> Estimate {
    estimate.budget = vec![BudgetLine::new("ingress of the runs", estimate.standard_uncertainty)];
    estimate.value = estimate.value.max(0.0);
    let [low, high] = estimate.interval95;
    // An interval wholly below zero would say that nothing is left; one standard uncertainty always is.
    estimate.interval95 = [low.max(0.0), high.max(estimate.standard_uncertainty)];
    estimate
}
