//! Method `regeneration`: how long a purifier's vessel was hot, purged and evacuated, and what that can have restored.

use tightfit_fit::ppm_rise::Quantity;
use tightfit_fit::regeneration::{self as fit, Record, Regeneration, Settings, Trace};
use tightfit_fit::{Estimate, Kind};
use tightfit_ingest::{Channel, PressureReference};
use tightfit_quantity::Dimension;
use tightfit_quantity::constant::{MOLAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_PA, ZERO_CELSIUS_K};

use crate::data::{ChannelData, Folders, TestData};
use crate::plan::{Measured, Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::outcome::Evaluated;
use super::pressure_channels::{fit_instrument, samples};
use super::reducing_gas::{self, Meter};
use super::stretch::{cut, whole_or_set};
use super::validity::{self, Findings};
use super::{Evaluation, Outcome, TestError, ppm_rise};

/// What the dossier shows of a regeneration.
#[derive(Debug)]
pub(crate) struct Run {
    /// The evaluation.
    pub(crate) evaluation: Regeneration,
    /// Plateau, K.
    pub(crate) plateau_k: Option<f64>,
    /// Threshold of the evacuation, Pa.
    pub(crate) evacuated_below_pa: Option<f64>,
}

/// Evaluates a regeneration. `earlier` are the outcomes of the plan's other tests: a rise tells the load.
pub(crate) fn run(
    plan: &Plan,
    test: &Test,
    folders: &Folders,
    earlier: &[Option<Result<Outcome, TestError>>],
) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let channels = Channels::gather(plan, test, &data)?;
    let keys = &test.keys;
    let (plateau_k, below_pa) = (si(keys.plateau.as_ref()), si(keys.evacuated_below.as_ref()));
    let mut findings = Findings::noting(data.assumptions());
    let room = ppm_rise::room(plan, &data)?;
    let meter = channels.flow.as_ref().map(|flow| Meter::of(plan, test, flow, &room));
    let settings = Settings {
        plateau_k,
        evacuated_below_pa: below_pa,
        hydrogen_fraction: keys.hydrogen_fraction.as_ref().map(ppm_rise::quantity),
        amount_per_volume: meter.as_ref().map(|meter| meter.amount_per_volume),
    };
    let record = Record {
        temperature: trace(
            channels.temperature.as_ref(),
            plateau_k.map(|k| k - ZERO_CELSIUS_K),
            Dimension::Temperature,
        )?,
        flow: trace(channels.flow.as_ref(), Some(0.0), Dimension::VolumeFlow)?,
        pressure: trace(channels.pressure.as_ref(), below_pa, Dimension::Pressure)?,
    };
    let evaluation = fit::evaluate(&record, &settings).map_err(TestError::not_evaluable)?;
    validity::restarts(&data, evaluation.window_s, &mut findings);
    for channel in channels.temperature.iter().chain(&channels.flow).chain(&channels.pressure) {
        validity::calibration(channel, data.day(evaluation.window_s[1]), &mut findings);
    }
    findings.notes.extend(evaluation.notes.iter().map(ToString::to_string));
    findings.notes.extend(meter.into_iter().flat_map(|meter| meter.notes));
    findings.notes.extend(missing(&channels, test));
    if let Some((rate, because)) = ingress(test, earlier) {
        findings.notes.extend(because);
        findings.notes.extend(load(plan, test, &evaluation, &room, rate));
    }
    findings.notes.extend(reducing_gas::cautions(plan, test));
    let estimates = estimates(&evaluation);
    let window_s = evaluation.window_s;
    Ok(Evaluated {
        findings,
        estimates,
        window_s,
        window_reason: whole_or_set(test.window),
        unused: Vec::new(),
        evaluation: Box::new(Run { evaluation, plateau_k, evacuated_below_pa: below_pa }),
        data,
    }
    .into_outcome(test))
}

struct Channels<'p> {
    temperature: Option<ChannelData<'p>>,
    flow: Option<ChannelData<'p>>,
    pressure: Option<ChannelData<'p>>,
}

impl<'p> Channels<'p> {
    fn gather(plan: &Plan, test: &Test, data: &TestData<'p>) -> Result<Self, TestError> {
        let mut pressure = data.channel(Channel::VesselPressure)?;
        if let Some(pressure) = &mut pressure {
            make_absolute(plan, data, pressure)?;
        }
        let mut channels = Self {
            temperature: data.channel(Channel::VesselTemperature)?,
            flow: data.channel(Channel::RegenerationFlow)?,
            pressure,
        };
        for channel in channels.temperature.iter_mut().chain(&mut channels.flow).chain(&mut channels.pressure) {
            cut(data, channel, test.window);
        }
        Ok(channels)
    }
}

/// A vessel's gauge reading, put on the room's pressure.
fn make_absolute(plan: &Plan, data: &TestData<'_>, pressure: &mut ChannelData<'_>) -> Result<(), TestError> {
    if pressure.reference != PressureReference::Gauge {
        return Ok(());
    }
    let room_pa = ppm_rise::room(plan, data)?.pressure_pa;
    for value in &mut pressure.value {
        *value += room_pa;
    }
    Ok(())
}

/// A channel with its instrument's error at a level: percentages of a temperature are of its degrees Celsius.
fn trace<'a>(
    channel: Option<&'a ChannelData<'_>>,
    level: Option<f64>,
    dimension: Dimension,
) -> Result<Option<Trace<'a>>, TestError> {
    let Some(channel) = channel else { return Ok(None) };
    let instrument = fit_instrument(channel.instrument, dimension);
    Ok(Some(Trace {
        samples: samples(channel)?,
        zero: instrument.zero.hypot(instrument.scale * level.unwrap_or(0.0)),
        scale: instrument.scale,
        resolution: instrument.resolution,
        response_tau_s: channel.instrument.and_then(|i| i.response.as_ref()).map_or(0.0, |response| response.tau_s),
    }))
}

fn si(measured: Option<&Measured>) -> Option<f64> {
    measured.map(|measured| measured.si)
}

fn estimates(evaluation: &Regeneration) -> Vec<(&'static str, Estimate)> {
    let named = [
        ("heating_time", &evaluation.heating_time),
        ("purge_time", &evaluation.purge_time),
        ("evacuation_time", &evaluation.evacuation_time),
        ("hydrogen_dose", &evaluation.hydrogen_dose),
        ("oxygen_capacity_restored", &evaluation.oxygen_capacity_restored),
    ];
    named.into_iter().filter_map(|(name, estimate)| Some((name, estimate.clone()?))).collect()
}

/// What keeps a result out.
fn missing(channels: &Channels<'_>, test: &Test) -> Vec<String> {
    let keys = &test.keys;
    let cases = [
        (channels.temperature.is_none(), "no vessel temperature is logged: heating time is not determined"),
        (channels.flow.is_none(), "no flow of the reducing gas is logged: purge time and dose are not determined"),
        (channels.pressure.is_none(), "no vessel pressure is logged: evacuation time is not determined"),
        (keys.plateau.is_none(), "no plateau is stated: plateau = \"…\" gives the heating time"),
        (keys.evacuated_below.is_none(), "no threshold is stated: evacuated_below = \"…\" gives the evacuation time"),
    ];
    cases.into_iter().filter(|(applies, _)| *applies).map(|(_, words)| words.to_owned()).collect()
}

/// The oxygen that comes in, 1/s: as the test states it, else as a rise test of the plan found it, which is said.
fn ingress(test: &Test, earlier: &[Option<Result<Outcome, TestError>>]) -> Option<(Quantity, Option<String>)> {
    const PPM_PER_H: f64 = 1e-6 / 3600.0;
    if let Some(stated) = &test.keys.oxygen_ingress {
        return Some((ppm_rise::quantity(stated), None));
    }
    let valid = earlier.iter().flatten().flatten().filter(|outcome| outcome.result.valid);
    let (id, found) = valid
        .filter_map(|outcome| {
            let (_, found) = outcome.estimates.iter().find(|(name, _)| *name == "oxygen_ingress")?;
            Some((&outcome.result.id, found))
        })
        .find(|(_, found)| found.kind == Kind::Estimate && found.value > 0.0)?;
    let rate = Quantity::new(found.value * PPM_PER_H, found.standard_uncertainty * PPM_PER_H);
    let words = format!("the load is the oxygen ingress that \"{id}\" found, {:.4} ppm/h", found.value);
    Some((rate, Some(words)))
}

/// The oxygen load since the last regeneration against what this one can have restored, and when the next is due.
fn load(plan: &Plan, test: &Test, evaluation: &Regeneration, room: &ppm_rise::Room, rate: Quantity) -> Vec<String> {
    let keys = &test.keys;
    let Some(volume) = &plan.enclosure.volume else { return Vec::new() };
    let gas_mol = volume.si * room.pressure_pa / (MOLAR_GAS_CONSTANT * room.temperature_k);
    let rate_mol_per_day = rate.value * gas_mol * 86_400.0;
    let relative =
        (rate.standard_uncertainty / rate.value).hypot(volume.standard_uncertainty.unwrap_or(0.0) / volume.si);
    let mut notes = Vec::new();
    let restored = evaluation.oxygen_capacity_restored.as_ref();
    if let (Some(since), Some(restored)) = (&keys.since_last, restored) {
        let days = since.si / 86_400.0;
        let taken_up = rate_mol_per_day * days;
        let verdict = if restored.interval95[0] > taken_up * (1.0 + 2.0 * relative) {
            "the hydrogen given was enough for that, by stoichiometry"
        } else if restored.interval95[1] < taken_up * (1.0 - 2.0 * relative) {
            "the hydrogen given was not enough for that, even if all of it reacted"
        } else {
            "whether the hydrogen given was enough for that is not decided"
        };
        notes.push(format!(
            "in the {days:.0} days since the last regeneration the bed took up about {taken_up:.3} mol of oxygen \
             (standard uncertainty {:.0} %); the dose can have restored at most {:.3} mol: {verdict}",
            100.0 * relative,
            restored.value
        ));
    }
    notes.extend(forecast(plan, test, restored, Quantity::new(rate_mol_per_day, relative * rate_mol_per_day)));
    notes
}

/// Days until the capacity is used up at the rate in mol a day.
fn forecast(plan: &Plan, test: &Test, restored: Option<&Estimate>, rate: Quantity) -> Option<String> {
    let named = &test.keys.purifiers;
    let ran = plan
        .enclosure
        .purifiers
        .iter()
        .filter(|purifier| named.is_empty() || purifier.name.as_ref().is_some_and(|name| named.contains(name)));
    let capacities: Option<Vec<Quantity>> =
        ran.map(|purifier| purifier.oxygen_capacity.as_ref().map(ppm_rise::quantity)).collect();
    let mol_per_m3 = STANDARD_ATMOSPHERE_PA / (MOLAR_GAS_CONSTANT * ZERO_CELSIUS_K);
    let capacities = capacities.filter(|capacities| !capacities.is_empty())?;
    let full_mol = mol_per_m3 * capacities.iter().map(|capacity| capacity.value).sum::<f64>();
    let uncertainty_mol =
        mol_per_m3 * capacities.iter().map(|capacity| capacity.standard_uncertainty.powi(2)).sum::<f64>().sqrt();
    if rate.value <= 0.0 {
        return None;
    }
    // The dose bounds what it restored; the bed holds no more than its capacity.
    let (available_mol, uncertainty_mol, because) = match restored {
        Some(restored) if restored.value < full_mol => {
            (restored.value, restored.standard_uncertainty, "what the dose can have restored")
        }
        _ => (full_mol, uncertainty_mol, "the bed's capacity"),
    };
    let days = available_mol / rate.value;
    let relative: f64 = (uncertainty_mol / available_mol).hypot(rate.standard_uncertainty / rate.value);
    Some(format!(
        "at this load the next regeneration is due after at most {days:.0} days (95 %: {:.0} to {:.0} days), by {because}",
        days * (-1.96 * relative).exp(),
        days * (1.96 * relative).exp()
    ))
}

impl Evaluation for Run {
    fn window_s(&self) -> [f64; 2] {
        self.evaluation.window_s
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::regeneration::figures(self, clock)
    }
}
