//! What is known before the data are looked at.

use super::Instrument;
use crate::WindowChoice;

/// Settings of an evaluation.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Volume at no pressure difference; without it conductance and throughput are not given, the leak rate is.
    pub volume: Option<Volume>,
    /// How gloves and walls give way.
    pub compliance: Compliance,
    /// Pressure difference to the room at which leak rates are stated, in Pa, with its sign; not 0.
    pub reference_pressure_pa: f64,
    /// How the flow depends on the pressures.
    pub leak_law: LeakLaw,
    /// The part of the record that is evaluated.
    pub window: WindowChoice,
    /// The sensor of the inside pressure.
    pub gauge: Instrument,
    /// The barometer.
    pub barometer: Instrument,
    /// A known leak that was opened during the hold.
    pub superimposed_leak: Option<SuperimposedLeak>,
}

impl Settings {
    /// Settings with a reference pressure in Pa; all else unknown, exact or automatic.
    pub fn new(reference_pressure_pa: f64) -> Self {
        Self {
            volume: None,
            compliance: Compliance::Unknown,
            reference_pressure_pa,
            leak_law: LeakLaw::Linear,
            window: WindowChoice::Auto,
            gauge: Instrument::default(),
            barometer: Instrument::default(),
            superimposed_leak: None,
        }
    }
}

/// Volume of the enclosure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Volume {
    /// Volume at no pressure difference in m³.
    pub value_m3: f64,
    /// Its standard uncertainty in m³.
    pub standard_uncertainty_m3: f64,
}

/// Compliance κ of gloves and walls: the volume at a pressure difference is V + κ·Δp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Compliance {
    /// Ports closed by rigid covers: none.
    Rigid,
    /// Known, from a stiffness check or otherwise.
    Given {
        /// Compliance in m³/Pa.
        value_m3_per_pa: f64,
        /// Its standard uncertainty in m³/Pa.
        standard_uncertainty_m3_per_pa: f64,
    },
    /// Not known: anything from rigid to two pairs of soft gloves is possible, and the interval says so.
    Unknown,
}

impl Compliance {
    /// Compliance from a stiffness check: `injected_m3` of room air (at the room's pressure) pushed into `volume` made
    /// the pressure rise by `rise_pa` once it had settled, at the room's pressure `room_pressure_pa`.
    ///
    /// From amount of gas at one temperature: p₀(V + v) = (p₀ + Δ)(V + κΔ), so κ = (p₀ v/Δ − V)/(p₀ + Δ) with the
    /// check starting at Δp = 0. Relative standard uncertainties are those of volume injected and rise.
    /// A check that comes out below zero (stiffer than rigid) is taken as zero with its uncertainty.
    pub fn from_stiffness_check(check: &StiffnessCheck, volume: Volume, room_pressure_pa: f64) -> Self {
        let p0 = room_pressure_pa;
        let apparent_m3 = p0 * check.injected_m3 / check.rise_pa;
        let denominator = p0 + check.rise_pa;
        let value = (apparent_m3 - volume.value_m3) / denominator;
        let relative = check.injected_relative_uncertainty.hypot(check.rise_relative_uncertainty);
        let uncertainty = (apparent_m3 * relative).hypot(volume.standard_uncertainty_m3) / denominator;
        Self::Given { value_m3_per_pa: value.max(0.0), standard_uncertainty_m3_per_pa: uncertainty }
    }
}

/// A stiffness check: a known amount of room air pushed in, and the rise it caused.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StiffnessCheck {
    /// Volume pushed in, measured at the room's pressure, in m³.
    pub injected_m3: f64,
    /// Relative standard uncertainty of it.
    pub injected_relative_uncertainty: f64,
    /// Rise of the inside pressure in Pa.
    pub rise_pa: f64,
    /// Relative standard uncertainty of it.
    pub rise_relative_uncertainty: f64,
}

/// Dependence of the leak's throughput on the pressures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LeakLaw {
    /// Q = G·(p_room − p): molecular flow, and viscous flow at small differences.
    #[default]
    Linear,
    /// Q ∝ p_room² − p²: laminar viscous flow at any difference.
    Laminar,
}

/// A known leak of room air opened during the hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SuperimposedLeak {
    /// Volume flow, measured at the room's pressure and temperature, in m³/s.
    pub flow_m3_per_s: f64,
    /// Its standard uncertainty in m³/s.
    pub standard_uncertainty_m3_per_s: f64,
    /// Opened at, in s on the record's time axis.
    pub from_s: f64,
    /// Closed at, in s.
    pub to_s: f64,
}
