//! ppm rise with purification off: how much oxygen and water come in.
//!
//! The content x of a species follows
//! dx/dt = r·(1 − x/x_air) + outgassing(t) + m·(x_supply − x),
//! with the steady ingress r at x = 0 (leak and permeation), x_air the room's air, and m the exchange by gas fed in. Where
//! the logged pressure below the room's changes, the leak's part of r goes as that pressure, and r stands for its mean.
//! [`evaluate`] finds r. Ingress rates are signed and stated in ppm/h; everything else is SI, mole fractions as pure
//! numbers.

mod bend;
mod blocks;
mod censored;
mod error;
mod exchange;
mod forward;
mod inflow;
mod likelihood;
mod mixture;
mod note;
mod oxygen_method;
mod record;
mod result;
mod rise_finder;
mod search;
mod settings;
mod shape;
mod species;
pub(crate) mod steady;
mod summary;
mod window;

pub use crate::WindowChoice;
pub use error::PpmRiseError;
pub use note::Note;
pub use oxygen_method::{OXYGEN_OF_THE_STANDARD, hourly_leak_rate};
pub use record::{Analyser, MakeUp, PressureDifference, Quantity, ReadingStatus, Record, RoomAir, Supply, Trace};
pub use result::{Diagnostics, ModelWeight, Outgassing, PpmRise, RowUse, Series, Species, SpeciesFit};
pub use settings::Settings;
pub use window::{Window, WindowEnd, WindowStart};

use crate::input::InputError;
use exchange::Exchange;
use inflow::Drive;
use species::{Approach, Circumstances, Outcome};

/// Evaluates one run with purification off.
///
/// The steady ingress is a mixture over models of outgassing (none, one or two exponentials, for water also a power
/// law), their time constants and the noise (floor and relative part, correlated part), each weighted by how far the
/// readings support it, so that the interval spans the models where the result hinges on them. Amounts outgassed are
/// not negative; the ingress may come out negative by noise. A bend in the rise of oxygen may be outgassing or a sink, and
/// the interval spans both.
///
/// The analyser's response is in the model. Its dead time and an error of its time constant only move the readings in
/// time, and the models are closed under a shift in time (exponentials keep their time constant, the power law its
/// exponent): they do not change the ingress.
///
/// # Errors
/// When the record or the settings allow no estimate at all; see [`PpmRiseError`].
pub fn evaluate(record: &Record<'_>, settings: &Settings) -> Result<PpmRise, PpmRiseError> {
    check(record, settings)?;
    let window = common_window(record, settings)?;
    let exchange = Exchange::new(&record.make_up, settings.volume_m3);
    let drive = Drive::new(&record.pressure_difference, &window);
    let mut result = PpmRise {
        oxygen_ingress: None,
        water_ingress: None,
        hourly_leak_rate_oxygen_method: None,
        mean_difference_pa: record.pressure_difference.mean_pa(window.from_s, window.to_s),
        oxygen: None,
        water: None,
        notes: Vec::new(),
    };
    for (species, trace) in traces(record) {
        let (room_air, supply) = match species {
            Species::Oxygen => (record.room_air.oxygen, record.supply.oxygen),
            Species::Water => (record.room_air.water, record.supply.water),
        };
        let (exchange, drive) = (exchange.as_ref(), drive.as_ref());
        let approach = Approach::Linear;
        let circumstances =
            Circumstances { species, trace, window, room_air, supply, exchange, drive, approach, walls_since_s: None };
        let (fit, notes) = match species::fit(&circumstances)? {
            Outcome::Fitted(fitted) => summary::summarise(&circumstances, &fitted),
            Outcome::MostlyCensored(blocks) => {
                summary::bound_from_censored(&circumstances, &blocks).ok_or(PpmRiseError::NoFit { species })?
            }
        };
        result.notes.extend(notes);
        result.take(species, trace, fit);
    }
    let changed = drive.filter(|drive| (drive.ends_pa[1] - drive.ends_pa[0]).abs() >= 1.0);
    result.notes.extend(changed.map(|drive| Note::PressureChanged { ends_pa: drive.ends_pa }));
    result.notes.extend(circumstance_notes(record, exchange.as_ref(), &window));
    Ok(result)
}

impl PpmRise {
    fn take(&mut self, species: Species, trace: &Trace<'_>, fit: SpeciesFit) {
        let ingress = match self.mean_difference_pa {
            Some(pa) => fit.ingress.clone().at(pa),
            None => fit.ingress.clone(),
        };
        match species {
            Species::Oxygen => {
                let floor = fit.diagnostics.floor_noise_ppm / summary::PPM;
                let relative = fit.diagnostics.relative_noise;
                let method = oxygen_method::evaluate(trace, &fit.window, &|x| floor.hypot(relative * x));
                self.hourly_leak_rate_oxygen_method = method.map(|estimate| match self.mean_difference_pa {
                    Some(pa) => estimate.at(pa),
                    None => estimate,
                });
                self.oxygen_ingress = Some(ingress);
                self.oxygen = Some(fit);
            }
            Species::Water => {
                self.water_ingress = Some(ingress);
                self.water = Some(fit);
            }
        }
    }
}

fn traces<'a, 'b>(record: &'b Record<'a>) -> impl Iterator<Item = (Species, &'b Trace<'a>)> {
    let oxygen = record.oxygen.as_ref().map(|trace| (Species::Oxygen, trace));
    let water = record.water.as_ref().map(|trace| (Species::Water, trace));
    oxygen.into_iter().chain(water)
}

fn check(record: &Record<'_>, settings: &Settings) -> Result<(), PpmRiseError> {
    if record.oxygen.is_none() && record.water.is_none() {
        return Err(PpmRiseError::NoSpecies);
    }
    for (species, trace) in traces(record) {
        let (statuses, readings) = (trace.status.len(), trace.samples.len());
        if statuses != 0 && statuses != readings {
            return Err(PpmRiseError::StatusLength { species, statuses, readings });
        }
        let (what, room_air) = match species {
            Species::Oxygen => ("oxygen in the room's air", record.room_air.oxygen),
            Species::Water => ("water in the room's air", record.room_air.water),
        };
        positive(what, room_air.value)?;
    }
    if let Some(volume) = settings.volume_m3 {
        positive("the volume", volume.value)?;
    }
    positive("the room's pressure", record.room_pressure_pa)
}

fn positive(what: &'static str, value: f64) -> Result<(), PpmRiseError> {
    if value > 0.0 && value.is_finite() { Ok(()) } else { Err(InputError::NotPositive { what, value }.into()) }
}

/// The window set, or what the rises of both species have in common.
fn common_window(record: &Record<'_>, settings: &Settings) -> Result<Window, PpmRiseError> {
    match settings.window {
        WindowChoice::Set { from_s, to_s } => {
            for (_, trace) in traces(record) {
                let record_s = [trace.samples.first_time_s(), trace.samples.last_time_s()];
                if !(from_s < to_s) || from_s > record_s[1] || to_s < record_s[0] {
                    return Err(InputError::WindowOutsideRecord { window_s: [from_s, to_s], record_s }.into());
                }
            }
            Ok(Window { from_s, to_s, start: WindowStart::Set, end: WindowEnd::Set })
        }
        WindowChoice::Auto => {
            let found: Vec<Window> = traces(record).map(|(_, trace)| rise_finder::find(trace)).collect();
            let mut window = found[0];
            if let Some(other) = found.get(1) {
                let (from, to) = (window.from_s.max(other.from_s), window.to_s.min(other.to_s));
                // Windows that hardly overlap belong to different events: each species alone would then be better,
                // but the first, oxygen, says when the purifier was off.
                if to - from > 0.5 * (window.to_s - window.from_s) {
                    if other.from_s > window.from_s {
                        (window.from_s, window.start) = (other.from_s, other.start);
                    }
                    if other.to_s < window.to_s {
                        (window.to_s, window.end) = (other.to_s, other.end);
                    }
                }
            }
            Ok(window)
        }
    }
}

fn circumstance_notes(record: &Record<'_>, exchange: Option<&Exchange>, window: &Window) -> Vec<Note> {
    let mut notes = Vec::new();
    if matches!(record.pressure_difference, PressureDifference::Unknown) {
        notes.push(Note::PressureUnknown);
    }
    match exchange {
        Some(exchange) => {
            let exchange_per_h = exchange.mean_rate(window.from_s, window.to_s) * 3600.0;
            if exchange_per_h > 0.0 {
                notes.push(Note::Diluted { exchange_per_h });
            }
        }
        None if matches!(record.make_up, MakeUp::Flow { .. }) => notes.push(Note::DilutionNeedsVolume),
        None => {}
    }
    notes
}
