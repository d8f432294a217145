//! What the plan says about a test that is still to be made, as the planning of `fit` wants it.

use tightfit_fit::design::{Demand, Limited, PlannedThermometer, PlannedVessel, SetUp};
use tightfit_fit::pressure_change::Compliance;
use tightfit_fit::simulate::{Room, Weather};
use tightfit_ingest::Channel;
use tightfit_quantity::constant::STANDARD_ATMOSPHERE_PA;
use tightfit_quantity::{Dimension, Unit};

use super::DesignError;
use crate::catalogue::result_kind;
use crate::method::pressure_change::{compliance, fit_volume};
use crate::method::pressure_channels::fit_instrument;
use crate::plan::{Bound, Instrument, Limit, Plan, RoomClass, Test};

/// A test and a limit, ready to be planned.
pub(super) struct Planned<'p> {
    pub(super) test: &'p Test,
    pub(super) limit: &'p Limit,
    pub(super) set_up: SetUp,
    pub(super) demand: Demand,
    pub(super) rated_pa: Option<f64>,
    pub(super) assumptions: Vec<String>,
}

/// Steps where the plan states none.
const USUAL_PRESSURE_STEP_PA: f64 = 1.0;
const USUAL_TEMPERATURE_STEP_K: f64 = 0.01;
/// Lag of a reference vessel where the plan states none, s.
const USUAL_VESSEL_LAG_S: f64 = 150.0;

impl<'p> Planned<'p> {
    pub(super) fn new(plan: &'p Plan, test: &'p Test, limit: &'p Limit) -> Result<Self, DesignError> {
        let limited = limited(limit).ok_or_else(|| DesignError::NoLimit { test: test.id.clone() })?;
        let reference = test.reference_pressure.as_ref().map(tightfit_quantity::Quantity::si);
        let reference_pa = reference
            .filter(|pressure| *pressure != 0.0)
            .ok_or_else(|| DesignError::NoReference { test: test.id.clone() })?;
        let volume = plan.enclosure.volume.as_ref().map(fit_volume);
        if volume.is_none() && limited != Limited::HourlyLeakRate {
            return Err(DesignError::VolumeMissing { needed_for: limit.quantity.clone() });
        }
        let room_pa = plan.room.pressure.as_ref().map_or(STANDARD_ATMOSPHERE_PA, |pressure| pressure.si);
        let compliance = compliance(plan, volume, room_pa, reference_pa)
            .map_err(|_| DesignError::VolumeMissing { needed_for: "the stiffness check".to_owned() })?;
        let mut bench = Bench { plan, test, assumptions: room_words(plan) };
        let gauge = bench.gauge()?;
        let set_up = SetUp {
            room: room(plan.design.room),
            weather: Weather::ORDINARY,
            cadence_s: plan.design.sampling_s,
            gauge: pressure_instrument(gauge),
            barometer: bench.barometer().map(pressure_instrument),
            thermometers: bench.thermometers(),
            vessel: bench.vessel(),
            compliance,
            volume,
            reference_pressure_pa: reference_pa,
            threads: std::thread::available_parallelism().map_or(1, usize::from),
        };
        bench.say_compliance(&set_up);
        let demand = demand(plan, limit, limited);
        let rated_pa = rated(plan, reference_pa);
        if rated_pa.is_none() {
            bench.assumptions.push(
                "no rated pressure is stated: the test is planned at the reference pressure; ask the maker what gloves \
                 and windows bear"
                    .to_owned(),
            );
        }
        Ok(Self { test, limit, demand, rated_pa, assumptions: bench.assumptions, set_up })
    }
}

fn limited(limit: &Limit) -> Option<Limited> {
    if matches!(limit.bound, Bound::Min(_)) {
        return None;
    }
    match limit.quantity.as_str() {
        "hourly_leak_rate" => Some(Limited::HourlyLeakRate),
        "leak_conductance" => Some(Limited::LeakConductance),
        "leak_throughput" => Some(Limited::LeakThroughput),
        _ => None,
    }
}

/// Whether a limit is one that a pressure-change test can be planned for.
pub(super) fn is_plannable(limit: &Limit, test: &Test) -> bool {
    limited(limit).is_some() && limit.test.as_deref().is_none_or(|id| id == test.id)
}

fn demand(plan: &Plan, limit: &Limit, limited: Limited) -> Demand {
    let quantity = limit.bound.quantity();
    let unit = result_kind(&limit.quantity).and_then(|kind| Unit::parse(kind.unit).ok());
    Demand {
        limited,
        limit: unit.map_or(quantity.si(), |unit| unit.from_si(quantity.si())),
        rule: limit.rule,
        producers_risk: plan.design.producers_risk,
        tight_share: plan.design.expected_share,
        longest_s: plan.design.longest_s,
    }
}

/// The rated pressure on the side of the test, Pa.
fn rated(plan: &Plan, reference_pa: f64) -> Option<f64> {
    let (low, high) = plan.enclosure.rated_pressure.as_ref()?;
    let side = if reference_pa < 0.0 { low.si() } else { high.si() };
    (side * reference_pa > 0.0).then_some(side)
}

fn room(class: RoomClass) -> Room {
    match class {
        RoomClass::Still => Room::QUIET,
        RoomClass::Ordinary => Room::ORDINARY,
        RoomClass::Rough => Room::ROUGH,
    }
}

fn room_words(plan: &Plan) -> Vec<String> {
    let design = &plan.design;
    let Room { diurnal_k, cycle_k, drift_k_per_h, .. } = room(design.room);
    vec![
        format!(
            "{} room: air-conditioning cycles of {cycle_k} K with periods of 10 to 30 min, a daily wave of \
             ±{diurnal_k} K, a drift of {drift_k_per_h} K/h for up to 8 h; after pumping the gas settles by up to \
             1 mK for each pascal",
            design.room.name()
        ),
        "ordinary weather: the barometer drifts by up to 300 Pa a day and a front may pass".to_owned(),
        format!(
            "readings every {}, scattering by three tenths of their step",
            super::words::duration(design.sampling_s)
        ),
    ]
}

fn pressure_instrument(instrument: &Instrument) -> tightfit_fit::pressure_change::Instrument {
    let mut fit = fit_instrument(Some(instrument), Dimension::Pressure);
    if instrument.resolution.is_none() {
        fit.resolution = USUAL_PRESSURE_STEP_PA;
    }
    fit
}

/// Finds the instruments of a test: those that its columns name, else those with a telling name.
struct Bench<'p> {
    plan: &'p Plan,
    test: &'p Test,
    assumptions: Vec<String>,
}

impl<'p> Bench<'p> {
    fn named(&self, channels: &[Channel], names: &[&str]) -> Vec<&'p Instrument> {
        let columns = self.test.columns.iter().filter(|column| channels.contains(&column.channel));
        let by_column: Vec<_> =
            columns.filter_map(|column| self.plan.instruments.get(column.instrument.as_deref()?)).collect();
        if !by_column.is_empty() {
            return by_column;
        }
        let telling = |instrument: &&Instrument| names.iter().any(|name| instrument.name.starts_with(name));
        self.plan.instruments.values().filter(telling).collect()
    }

    fn gauge(&mut self) -> Result<&'p Instrument, DesignError> {
        let channels = [Channel::GaugePressure, Channel::AbsolutePressure];
        let gauge = self.named(&channels, &["gauge", "pressure", "absolute"]).first().copied();
        let Some(gauge) = gauge else { return Err(DesignError::NoGauge { test: self.test.id.clone() }) };
        self.say_step(&gauge.name, gauge, USUAL_PRESSURE_STEP_PA, "Pa");
        Ok(gauge)
    }

    /// That an instrument is not there, or that a column does not say which it is.
    fn missing(&self, channels: &[Channel], kind: &str) -> String {
        match self.test.columns.iter().find(|column| channels.contains(&column.channel)) {
            Some(column) => format!(
                "no {kind} is counted on: the column of {} names no instrument, instrument = \"{kind}\" with \
                 [instruments.{kind}] would",
                column.channel
            ),
            None => format!("no {kind} is logged"),
        }
    }

    fn barometer(&mut self) -> Option<&'p Instrument> {
        let barometer = self.named(&[Channel::RoomPressure], &["barometer", "room_pressure"]).first().copied();
        if let Some(barometer) = barometer {
            self.say_step(&barometer.name, barometer, USUAL_PRESSURE_STEP_PA, "Pa");
        } else {
            let missing = self.missing(&[Channel::RoomPressure], "barometer");
            self.assumptions.push(format!("{missing}: the room's pressure is read once"));
        }
        barometer
    }

    fn thermometers(&mut self) -> Vec<PlannedThermometer> {
        let design = &self.plan.design;
        let channels = [Channel::GasTemperature, Channel::WallTemperature];
        let found = self.named(&channels, &["thermometer", "gas_temperature", "wall_temperature"]);
        if found.is_empty() {
            let missing = self.missing(&channels, "thermometer");
            self.assumptions.push(missing);
            return Vec::new();
        }
        self.assumptions.push(format!(
            "{} against the mean gas by {} K (standard deviation) with a memory of {}",
            match found.len() {
                1 => "one thermometer, wandering".to_owned(),
                count => format!("{count} thermometers, each wandering for itself"),
            },
            design.thermometer_wander_k,
            super::words::duration(design.wander_memory_s),
        ));
        let thermometers = found.into_iter().map(|instrument| {
            self.say_step(&instrument.name, instrument, USUAL_TEMPERATURE_STEP_K, "K");
            let mut fit = fit_instrument(Some(instrument), Dimension::Temperature);
            if instrument.resolution.is_none() {
                fit.resolution = USUAL_TEMPERATURE_STEP_K;
            }
            let stated = instrument.response.as_ref().map(|response| response.tau_s).filter(|tau| *tau > 0.0);
            if stated.is_none() {
                let lag_s = room(design.room).lag_s;
                self.assumptions.push(format!("{} states no response: a lag of {lag_s} s", instrument.name));
            }
            PlannedThermometer {
                instrument: fit,
                lag_s: stated,
                wander_k: design.thermometer_wander_k,
                wander_memory_s: design.wander_memory_s,
            }
        });
        thermometers.collect()
    }

    fn vessel(&mut self) -> Option<PlannedVessel> {
        let instrument = self.named(&[Channel::ReferenceVesselPressure], &["reference_vessel"]).first().copied()?;
        self.say_step(&instrument.name, instrument, USUAL_PRESSURE_STEP_PA, "Pa");
        Some(PlannedVessel {
            resolution_pa: instrument.resolution_si(Dimension::Pressure).unwrap_or(USUAL_PRESSURE_STEP_PA),
            lag_s: instrument.response.as_ref().map_or(USUAL_VESSEL_LAG_S, |response| response.tau_s),
        })
    }

    fn say_step(&mut self, name: &str, instrument: &Instrument, usual: f64, unit: &str) {
        if instrument.resolution.is_none() {
            self.assumptions.push(format!("{name} states no resolution: steps of {usual} {unit}"));
        }
    }

    fn say_compliance(&mut self, set_up: &SetUp) {
        let words = match set_up.compliance {
            Compliance::Rigid => return,
            Compliance::Given { .. } => "gloves and walls give way as the plan says",
            Compliance::Unknown => {
                "nobody knows how far gloves and walls give way: anything from rigid to two pairs of soft gloves"
            }
        };
        self.assumptions.push(words.to_owned());
    }
}
