//! The methods and the results they give: names, units and words, in one table.

use tightfit_quantity::Dimension;

/// A kind of result.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ResultKind {
    /// Name in plans and results.
    pub name: &'static str,
    /// Unit in the JSON result.
    pub unit: &'static str,
    /// What it measures.
    pub dimension: Dimension,
    /// What people call it.
    pub words: &'static str,
}

/// Which signs a result can have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// Not negative, but for noise.
    NotNegative,
    /// Either, and a limit means what it says.
    Either,
    /// Either, as an error has: a maximum holds for its size.
    OfError,
}

impl ResultKind {
    /// Which signs it can have.
    #[must_use]
    pub fn sign(&self) -> Sign {
        match self.name {
            "zero_error" | "span_error" => Sign::OfError,
            "pressure_rate" | "time_constant_trend" | "gauge_pressure_min" | "gauge_pressure_max" => Sign::Either,
            _ => Sign::NotNegative,
        }
    }
}

const fn kind(name: &'static str, unit: &'static str, dimension: Dimension, words: &'static str) -> ResultKind {
    ResultKind { name, unit, dimension, words }
}

use Dimension as D;

/// Every result that a method can give.
pub const RESULTS: &[ResultKind] = &[
    kind("hourly_leak_rate", "1/h", D::PerTime, "hourly leak rate"),
    kind("leak_conductance", "m3/s", D::VolumeFlow, "leak conductance"),
    kind("leak_throughput", "Pa.m3/s", D::Throughput, "leak throughput"),
    kind("hourly_leak_rate_two_point", "1/h", D::PerTime, "hourly leak rate, two-point"),
    kind("hourly_leak_rate_mass_point", "1/h", D::PerTime, "hourly leak rate, mass point"),
    kind("pressure_rate", "Pa/s", D::PressureRate, "pressure rate"),
    kind("superimposed_leak_ratio", "1", D::Ratio, "superimposed leak, found over applied"),
    kind("oxygen_ingress", "ppm/h", D::PerTime, "oxygen ingress"),
    kind("water_ingress", "ppm/h", D::PerTime, "water ingress"),
    kind("hourly_leak_rate_oxygen_method", "1/h", D::PerTime, "hourly leak rate, oxygen method"),
    kind("oxygen_from_leak", "ppm/h", D::PerTime, "oxygen through leaks"),
    kind("oxygen_from_permeation", "ppm/h", D::PerTime, "oxygen by permeation"),
    kind("water_from_leak", "ppm/h", D::PerTime, "water through leaks"),
    kind("water_from_permeation", "ppm/h", D::PerTime, "water by permeation"),
    kind("oxygen_expected_from_permeation", "ppm/h", D::PerTime, "oxygen expected through sound gloves"),
    kind("water_expected_from_permeation", "ppm/h", D::PerTime, "water expected through sound gloves"),
    kind("permeation_ratio_oxygen", "1", D::Ratio, "oxygen by permeation, found over expected"),
    kind("permeation_ratio_water", "1", D::Ratio, "water by permeation, found over expected"),
    kind("time_constant", "s", D::Time, "time constant"),
    kind("floor", "ppm", D::Ratio, "floor"),
    kind("cleanup_flow", "m3/h", D::VolumeFlow, "effective clean-up flow"),
    kind("single_pass_efficiency", "1", D::Ratio, "single-pass efficiency"),
    kind("time_to_limit", "s", D::Time, "time to limit"),
    kind("implied_ingress", "ppm/h", D::PerTime, "ingress that the floor allows"),
    kind("dose_count", "1", D::Ratio, "doses found"),
    kind("time_constant_first", "s", D::Time, "time constant of the first dose"),
    kind("time_constant_last", "s", D::Time, "time constant of the last dose"),
    kind("time_constant_trend", "1/day", D::PerTime, "trend of the time constant"),
    kind("mixing_factor", "1", D::Ratio, "mixing factor"),
    kind("oxygen_max", "ppm", D::Ratio, "largest oxygen"),
    kind("water_max", "ppm", D::Ratio, "largest water"),
    kind("oxygen_share_within", "1", D::Ratio, "share of time with oxygen within target"),
    kind("water_share_within", "1", D::Ratio, "share of time with water within target"),
    kind("zero_error", "ppm", D::Ratio, "zero error"),
    kind("span_error", "ppm", D::Ratio, "span error"),
    kind("response_t90", "s", D::Time, "response time t90"),
    kind("cycle_count", "1", D::Ratio, "antechamber cycles"),
    kind("residual_oxygen", "ppm", D::Ratio, "residual oxygen"),
    kind("cycles_needed", "1", D::Ratio, "cycles that the target needs"),
    kind("oxygen_step", "ppm", D::Ratio, "oxygen step in the enclosure"),
    kind("outgassing_throughput", "Pa.m3/s", D::Throughput, "outgassing throughput"),
    kind("makeup_flow_mean", "m3/h", D::VolumeFlow, "mean make-up flow"),
    kind("gas_use", "m3/day", D::VolumeFlow, "gas use in a day"),
    kind("pulses_per_hour", "1/h", D::PerTime, "valve pulses in an hour"),
    kind("pressure_share_within", "1", D::Ratio, "share of time with the pressure within the band"),
    kind("gauge_pressure_min", "Pa", D::Pressure, "lowest gauge pressure"),
    kind("gauge_pressure_max", "Pa", D::Pressure, "highest gauge pressure"),
    kind("heating_time", "s", D::Time, "heating time"),
    kind("purge_time", "s", D::Time, "purge time"),
    kind("evacuation_time", "s", D::Time, "evacuation time"),
    kind("hydrogen_dose", "mol", D::Amount, "hydrogen dose"),
    kind("oxygen_capacity_restored", "mol", D::Amount, "oxygen capacity restored"),
];

/// The result of that name.
#[must_use]
pub fn result_kind(name: &str) -> Option<&'static ResultKind> {
    RESULTS.iter().find(|kind| kind.name == name)
}

/// A test method.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Method {
    /// Pressure rise or decay.
    PressureChange,
    /// Pressure rise or decay with different boundaries.
    PressureChangeSeries,
    /// Rise of oxygen and water with purification off.
    PpmRise,
    /// The same at several pressures.
    PpmRiseSeries,
    /// Pull-down of a dose by the purifier.
    CleanUp,
    /// Many doses in a long log.
    CleanUpSeries,
    /// Purge from air with inert gas.
    PurgeDown,
    /// Content over days with the purifier on.
    Endurance,
    /// An analyser against reference gas.
    AnalyserCheck,
    /// Cycles of an antechamber.
    Antechamber,
    /// Pressure rise of an evacuated vessel.
    VacuumHold,
    /// Flow that holds the pressure.
    MakeUp,
    /// Heating, purge and evacuation of a purifier.
    Regeneration,
    /// A working log.
    OperatingLog,
    /// What a plan with a mistake names; it is never evaluated.
    Unknown,
}

/// Every method that a plan may name: its name there, and what people call it.
const METHODS: &[(Method, &str, &str)] = &[
    (Method::PressureChange, "pressure-change", "change of pressure in the closed enclosure"),
    (Method::PressureChangeSeries, "pressure-change-series", "change of pressure with different boundaries"),
    (Method::PpmRise, "ppm-rise", "rise of oxygen and water with the purifier off"),
    (Method::PpmRiseSeries, "ppm-rise-series", "rise of oxygen and water at several pressures"),
    (Method::CleanUp, "clean-up", "clean-up of a dose by the purifier"),
    (Method::CleanUpSeries, "clean-up-series", "clean-up of many doses"),
    (Method::PurgeDown, "purge-down", "purge with inert gas"),
    (Method::Endurance, "endurance", "oxygen and water with the purifier on"),
    (Method::AnalyserCheck, "analyser-check", "analyser against reference gas"),
    (Method::Antechamber, "antechamber", "cycles of the antechamber"),
    (Method::VacuumHold, "vacuum-hold", "pressure rise under vacuum"),
    (Method::MakeUp, "make-up", "flow that holds the pressure"),
    (Method::Regeneration, "regeneration", "regeneration of the purifier"),
    (Method::OperatingLog, "operating-log", "working log"),
];

impl Method {
    /// Every name that a plan may write.
    #[must_use]
    pub fn names() -> Vec<&'static str> {
        METHODS.iter().map(|(_, name, _)| *name).collect()
    }

    /// The method of that name.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        METHODS.iter().find(|(_, known, _)| *known == name).map(|(method, ..)| *method)
    }

    /// The name in plans.
    #[must_use]
    pub fn name(self) -> &'static str {
        METHODS.iter().find(|(method, ..)| *method == self).map_or("unknown", |(_, name, _)| name)
    }

    /// What people call it.
    #[must_use]
    pub fn words(self) -> &'static str {
        METHODS.iter().find(|(method, ..)| *method == self).map_or("unknown", |(.., words)| words)
    }

    /// Whether its files stand in runs rather than in the test itself.
    #[must_use]
    pub fn has_runs(self) -> bool {
        matches!(self, Self::PressureChangeSeries | Self::PpmRiseSeries)
    }
}
