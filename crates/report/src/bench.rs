//! Methods straight on files: the flags of the bench become a plan, so that both ways give the same numbers.

use std::fmt::Write as _;

use tightfit_ingest::quoted;

/// A pressure-change test by flags.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LeakFlags {
    /// Files.
    pub files: Vec<String>,
    /// Volume, with unit.
    pub volume: Option<String>,
    /// Pressure difference at which results are stated.
    pub at: Option<String>,
    /// Fill gas.
    pub gas: Option<String>,
    /// Largest hourly leak rate.
    pub max: Option<String>,
    /// Compliance of gloves and walls.
    pub compliance: Option<String>,
    /// Pressure of the room where none is logged.
    pub room_pressure: Option<String>,
    /// Zone of local times.
    pub time_zone: Option<String>,
    /// Window: start, end.
    pub from: Option<String>,
    /// End of the window.
    pub to: Option<String>,
}

impl LeakFlags {
    /// The plan that the flags stand for.
    #[must_use]
    pub fn plan_text(&self) -> String {
        let mut plan = String::from("tightfit = 1\n[enclosure]\nid = \"by flags\"\n");
        key(&mut plan, "gas", Some(self.gas.as_deref().unwrap_or("argon")));
        key(&mut plan, "volume", self.volume.as_deref());
        key(&mut plan, "compliance", self.compliance.as_deref());
        plan.push_str("[room]\n");
        key(&mut plan, "pressure", self.room_pressure.as_deref());
        key(&mut plan, "time_zone", self.time_zone.as_deref());
        plan.push_str("[[test]]\nid = \"leak\"\nmethod = \"pressure-change\"\n");
        let files: Vec<String> = self.files.iter().map(|file| quoted(file)).collect();
        let _ = writeln!(plan, "files = [{}]", files.join(", "));
        key(&mut plan, "reference_pressure", self.at.as_deref());
        if self.from.is_some() || self.to.is_some() {
            plan.push_str("[test.window]\n");
            key(&mut plan, "from", self.from.as_deref());
            key(&mut plan, "to", self.to.as_deref());
        }
        if let Some(max) = &self.max {
            plan.push_str("[[limit]]\nquantity = \"hourly_leak_rate\"\n");
            key(&mut plan, "max", Some(max));
        }
        plan
    }
}

fn key(plan: &mut String, name: &str, value: Option<&str>) {
    if let Some(value) = value {
        let _ = writeln!(plan, "{name} = {}", quoted(value));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Plan;

    #[test]
    fn flags_make_a_plan_without_mistakes_whatever_the_file_is_called() {
        let flags = LeakFlags {
            files: vec!["odd \"name\"\\.csv".to_owned()],
            volume: Some("0.92 m3".to_owned()),
            at: Some("-1000 Pa".to_owned()),
            max: Some("5e-4 1/h".to_owned()),
            from: Some("10 min".to_owned()),
            ..LeakFlags::default()
        };
        let plan = Plan::parse("flags", &flags.plan_text()).unwrap();
        assert_eq!(plan.tests[0].files, ["odd \"name\"\\.csv"]);
    }

    #[test]
    fn a_flag_with_a_wrong_unit_is_a_mistake_of_the_plan() {
        let flags = LeakFlags { files: vec!["a.csv".into()], at: Some("-1000 m3".into()), ..LeakFlags::default() };
        let error = Plan::parse("flags", &flags.plan_text()).unwrap_err();
        assert!(error.to_string().contains("\"-1000 m3\" is a volume, expected a pressure"), "{error}");
    }
}
