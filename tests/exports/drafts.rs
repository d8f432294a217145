//! Plans drafted from exports.

use tightfit_ingest::{Format, ReadOptions, draft, read_bytes};

use super::support::{PLAIN, plan, read, read_with};

#[test]
fn a_draft_is_a_plan_that_names_what_was_found() {
    let recording = read(PLAIN);
    let text = draft(&[recording], None);
    let plan: toml::Table = text.parse().unwrap();
    let test = &plan["test"][0];
    assert_eq!(test["method"].as_str(), Some("pressure-change"));
    assert_eq!(test["files"][0].as_str(), Some("export.csv"));
    assert_eq!(test["columns"]["gauge_pressure"]["column"].as_str(), Some("dP (Pa)"));
    assert_eq!(test["columns"]["gauge_pressure"]["unit"].as_str(), Some("Pa"));
    assert!(text.contains("# window = { from = \"2026-05-04T09:00:00Z\", to = \"2026-05-04T09:04:00Z\" }"));
}

#[test]
fn open_questions_stand_in_the_draft_with_their_answers() {
    let text = draft(&[read("Time (s),Oxygen\n1,2\n2,3\n3,4\n")], None);
    assert!(text.contains("# question, export.csv: oxygen: column 'Oxygen': no unit is written"));
    assert!(text.parse::<toml::Table>().is_ok());
    let local = draft(&[read(&PLAIN.replace('Z', ""))], None);
    assert!(local.contains("time_zone = \"UTC\""));
}

#[test]
fn the_stated_zone_of_local_times_stands_in_the_draft() {
    let zone = "Europe/Vienna";
    let options = ReadOptions { time_zone: Some(zone.into()), ..ReadOptions::default() };
    let local = draft(&[read_with(&PLAIN.replace('Z', ""), &options)], Some(zone));
    let plan: toml::Table = local.parse().unwrap();
    assert_eq!(plan["room"]["time_zone"].as_str(), Some(zone));
    let utc = draft(&[read_with(PLAIN, &options)], Some(zone));
    assert!(utc.contains("# time_zone is not needed"), "{utc}");
}

#[test]
fn a_draft_of_a_file_whose_dates_are_open_names_the_instruments_of_its_columns_and_how_to_answer() {
    let open =
        draft(&[read("time,dP (Pa)\n03/04/2026 09:00,-1000\n03/04/2026 09:01,-999\n03/04/2026 09:02,-998\n")], None);
    assert!(open.contains("[instruments.gauge]"), "{open}");
    assert!(open.contains("# time_zone = \"Europe/Vienna\"  # fill in"), "{open}");
    let answered: String = open.replace("# [test.format]", "[test.format]").replace("# time = \"%d", "time = \"%d");
    let plan: toml::Table = answered.parse().unwrap();
    assert_eq!(plan["test"][0]["format"]["time"].as_str(), Some("%d/%m/%Y %H:%M"), "{answered}");
}

#[test]
fn two_weeks_of_oxygen_are_drafted_as_a_log_to_diagnose_and_a_night_as_a_rise_with_its_limit() {
    let log = |hours: u32| {
        let rows = (0..=24).map(|row| format!("{},0.{row:02}\n", f64::from(row * hours) / 24.0));
        format!("Time (h),O2 (ppm)\n{}", rows.collect::<Vec<_>>().concat())
    };
    let weeks = draft(&[read(&log(336))], None);
    assert!(weeks.contains("method = \"operating-log\"") && weeks.contains("tightfit diagnose PLAN"), "{weeks}");
    let bare = draft(&[read("Time (h),signal (V)\n0,1\n1,2\n2,3\n")], None);
    assert!(bare.contains("# fill in: the channels do not tell\n# or vacuum-hold, antechamber"), "{bare}");
    let night = draft(&[read(&log(12))], None);
    assert!(night.contains("method = \"ppm-rise\"") && night.contains("# quantity = \"oxygen_ingress\""), "{night}");
    assert!(night.contains("\n# or pressure-change, clean-up"), "{night}");
}

#[test]
fn a_content_that_is_taken_down_is_drafted_as_a_clean_up_or_from_air_as_a_purge_down() {
    let log = |highest: f64, beside: &str| {
        let content = |row: i32| 0.5 + highest * (-f64::from(row) / 40.0).exp();
        let rows = (0..=240).map(|row| format!("{},{:.2}{beside}\n", f64::from(row) / 60.0, content(row)));
        let header = if beside.is_empty() { "" } else { ",dP (Pa)" };
        format!("Time (h),O2 (ppm){header}\n{}", rows.collect::<String>())
    };
    let clean_up = draft(&[read(&log(60.0, ""))], None);
    assert!(clean_up.contains("method = \"clean-up\"") && clean_up.contains("# quantity = \"time_constant\""));
    assert!(clean_up.contains("\n# or pressure-change, ppm-rise, clean-up-series"), "{clean_up}");
    assert!(draft(&[read(&log(60.0, ",300"))], None).contains("method = \"clean-up\""));
    assert!(draft(&[read(&log(209_000.0, ""))], None).contains("method = \"purge-down\""));
    assert!(draft(&[read(&log(0.3, ""))], None).contains("method = \"ppm-rise\""));
}

#[test]
fn the_pattern_that_a_question_offers_reads_the_file() {
    for (header, row) in [
        ("Datum;Zeit", "10.09.26;09:00:0"),
        ("Time", "10.09.26 09:00:0"),
        ("Date;Time", "10/09/2026;09:00:0"),
        ("Time", "10/09/26 09:00:1."),
    ] {
        let rows = (0..9).map(|second| format!("{row}{second};-19,{second}\n"));
        let text = format!("{header};dP (Pa)\n{}", rows.collect::<String>());
        let asked = read(&text);
        let answer = asked.questions.iter().find(|q| q.answer.contains("time = ")).expect("a question about dates");
        let pattern = answer.answer.split('"').nth(1).unwrap();
        let format = Format { time: Some(pattern.into()), ..Format::default() };
        let answered = read_with(&text, &plan(Vec::new(), format));
        assert_eq!(answered.account.rows_used(), 9, "{pattern} for {row}: {:?}", answered.questions);
    }
}

#[test]
fn regenerations_and_valves_are_drafted_with_what_they_need_to_be_told() {
    let rows = |cells: &str| (0..30).map(|row| format!("{},{cells}\n", 60 * row)).collect::<String>();
    let heated = draft(
        &[read(&format!("Time (s),Vessel temperature (°C),Regeneration flow (L/min)\n{}", rows("200.1,8.0")))],
        None,
    );
    assert!(heated.contains("method = \"regeneration\"") && heated.contains("\n# plateau = "), "{heated}");
    assert!(heated.contains("[instruments.vessel_thermometer]") && heated.contains("\n# min = "), "{heated}");
    let fed = draft(&[read(&format!("Time (s),dP (Pa),Valve\n{}0,500,open\n", rows("500,closed")))], None);
    assert!(fed.contains("method = \"make-up\"") && fed.contains("\n# valve_flow = "), "{fed}");
}

#[test]
fn the_stated_zone_stands_in_the_draft_while_dates_are_open_too() {
    let rows = (0..9).map(|second| format!("10.09.26 09:00:0{second};-19,{second}\n"));
    let options = ReadOptions { time_zone: Some("Europe/Berlin".into()), ..ReadOptions::default() };
    let recording = read_with(&format!("Zeit;dP (Pa)\n{}", rows.collect::<String>()), &options);
    let text = draft(&[recording], Some("Europe/Berlin"));
    assert!(text.contains("\ntime_zone = \"Europe/Berlin\""), "{text}");
}

#[test]
fn an_evacuated_vessel_is_drafted_as_a_hold_or_by_its_cycles_as_an_antechamber() {
    let log = |pressure: &dyn Fn(u32) -> f64| {
        let rows: String = (0..400).map(|second| format!("{second},{:.0}\n", pressure(second))).collect();
        draft(&[read(&format!("time (s),antechamber absolute (Pa)\n{rows}"))], None)
    };
    let hold = log(&|second| if second < 50 { 98_000.0 } else { 100.0 + f64::from(second) });
    assert!(hold.contains("method = \"vacuum-hold\"") && hold.contains("# quantity = \"leak_throughput\""), "{hold}");
    assert!(log(&|second| 100.0 + f64::from(second)).contains("method = \"vacuum-hold\""));
    let cycles = log(&|second| if second % 100 < 30 { 98_000.0 } else { 900.0 });
    assert!(cycles.contains("method = \"antechamber\""), "{cycles}");
}

#[test]
fn contents_beside_a_pressure_are_a_rise_unless_the_pressure_was_trapped() {
    let log = |oxygen: &dyn Fn(u32) -> f64, pressure: &dyn Fn(u32) -> f64| {
        let row = |minute: u32| format!("{},{:.2},{:.1}\n", minute * 60, oxygen(minute), pressure(minute));
        let rows: String = (0..400).map(row).collect();
        draft(&[read(&format!("time (s),O2 (ppm),dP (Pa)\n{rows}"))], None)
    };
    let rise = log(&|minute| 0.5 + 0.02 * f64::from(minute), &|minute| -300.0 + f64::from(minute % 3));
    assert!(rise.contains("method = \"ppm-rise\""), "{rise}");
    assert!(rise.contains("\n# range = [\"0 ppm\"") && rise.contains("\n# reporting_limit = "), "{rise}");
    let steady = |minute: u32| 0.5 + 0.01 * f64::from(minute % 3);
    let decay = log(&steady, &|minute| -500.0 * (-f64::from(minute) / 400.0).exp());
    assert!(decay.contains("method = \"pressure-change\""), "{decay}");
}

#[test]
fn a_draft_of_two_files_is_a_plan_once_all_that_it_offers_is_taken() {
    let named = |name: &str, text: &str| read_bytes(name, text.as_bytes(), &ReadOptions::default()).unwrap();
    let gauge = named(
        "gauge.csv",
        "Zeit;dp;Gas (°C);makeup flow (L/min);makeup total (L)\n03.04.2026 09:00:00;-510,0;22,1;0,1;1\n\
         03.04.2026 09:00:30;-509,5;22,1;0,1;2\n03.04.2026 09:01:00;-509,0;22,2;0,1;3\n",
    );
    let room = named(
        "baro.csv",
        "date,Room pressure (hPa),Gas (°C)\n03/04/2026 09:00,1013.2,21.1\n03/04/2026 09:01,1013.2,21.1\n\
         03/04/2026 09:02,1013.1,21.1\n",
    );
    let text = draft(&[gauge, room], None);
    let as_is: toml::Table = text.parse().unwrap();
    let thermometers = as_is["test"][0]["columns"]["gas_temperature"].as_array().unwrap();
    assert_eq!(thermometers.len(), 2, "{text}");
    let columns = text.find("[test.columns]").unwrap();
    let taken =
        text[columns..].replace("# gauge_pressure =", "gauge_pressure =").replace("# [test.format", "[test.format");
    let taken = format!("{}{}", &text[..columns], taken.replace("\n# time = ", "\ntime = "));
    let plan: toml::Table = taken.parse().unwrap_or_else(|error| panic!("{error}\n{taken}"));
    let test = &plan["test"][0];
    assert_eq!(test["columns"]["gauge_pressure"]["file"].as_str(), Some("gauge.csv"), "{taken}");
    assert_eq!(test["columns"]["gauge_pressure"]["instrument"].as_str(), Some("gauge"), "{taken}");
    assert_eq!(test["format"]["baro.csv"]["time"].as_str(), Some("%d/%m/%Y %H:%M"), "{taken}");
    assert!(text.contains("[instruments.gauge]") && text.contains("# clock_offset = "), "{text}");
    assert_eq!(text.matches("[instruments.makeup_meter]").count(), 1, "{text}");
}
