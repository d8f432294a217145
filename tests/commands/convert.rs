//! Conversions on the command line.

use crate::support::Bench;

#[test]
fn a_conversion_prints_value_unit_and_what_it_depends_on() {
    let run = Bench::new().run(&["convert", "4 inH2O", "Pa"]);
    assert_eq!((run.code, run.stdout.as_str()), (0, "4 inH2O = 996.3556 Pa\n"));
    let run = Bench::new().run(&["convert", "-10 °C", "°F"]);
    assert_eq!((run.code, run.stdout.as_str()), (0, "-10 °C = 14.00000 °F\n"));
    let arguments = ["convert", "0.05 vol%/h", "mbar L/s", "--volume", "0.92 m3", "--pressure", "1013.25 mbar"];
    let run = Bench::new().run(&arguments);
    assert_eq!(run.code, 0, "{run:?}");
    assert!(
        run.stdout.starts_with("0.05 vol%/h = 0.1294708 mbar L/s\n  with the volume of the enclosure, pressure given")
    );
}

#[test]
fn a_conversion_that_lacks_a_condition_names_the_flag() {
    let run = Bench::new().run(&["convert", "0.05 vol%/h", "mbar L/s", "--volume", "0.92 m3"]);
    assert_eq!(run.code, 2);
    assert!(run.stderr.contains("depends on the pressure") && run.stderr.contains("--pressure"), "{}", run.stderr);
}

#[test]
fn an_unknown_unit_names_the_nearest() {
    let run = Bench::new().run(&["convert", "4 inH2O", "mbra"]);
    assert_eq!(run.code, 2);
    assert!(run.stderr.contains("did you mean \"mbar\"?"), "{}", run.stderr);
}
