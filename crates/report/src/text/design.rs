//! A design as text.

use tightfit_quantity::display_number;

use crate::design::{Curve, Design, DesignedTest, Expected, words};

use super::layout::{Paint, paragraph};

/// Indent of what stands beside a label.
const INDENT: usize = 12;

/// The design in words, numbers after them.
#[must_use]
pub fn design(design: &Design, paint: Paint) -> String {
    let mut out = String::new();
    paragraph(&mut out, "Enclosure", INDENT, &design.enclosure);
    for test in &design.tests {
        out.push('\n');
        write_test(&mut out, test, paint);
    }
    out.push('\n');
    for words in &design.not_planned {
        paragraph(&mut out, "Not planned", INDENT, words);
    }
    for caution in &design.cautions {
        paragraph(&mut out, "Caution", INDENT, caution);
    }
    out
}

fn write_test(out: &mut String, test: &DesignedTest, paint: Paint) {
    paragraph(out, "Test", INDENT, &format!("{} ({}), {}, {}", test.id, test.method, test.limit, test.rule));
    let (colour, word) = if test.decides { (paint.good, "DECIDES") } else { (paint.open, "UNDECIDED") };
    out.push_str(&format!("{:<INDENT$}{colour}{word}{}\n", "  design", paint.end));
    paragraph(out, "", INDENT, &test.sentence);
    if let Some(expected) = &test.expected {
        write_expected(out, test, expected);
    }
    write_curves(out, test);
    write_improvements(out, test);
    for words in &test.assumptions {
        paragraph(out, "  assumed", INDENT, words);
    }
}

fn write_expected(out: &mut String, test: &DesignedTest, expected: &Expected) {
    let unit = &test.unit;
    let number = |x: f64| display_number(x, 2);
    let [low, high] = expected.expanded_uncertainty_range;
    let words = format!(
        "expanded uncertainty (95 %) {} {unit}, in eight of ten tests {} to {}",
        number(expected.expanded_uncertainty),
        number(low),
        number(high)
    );
    paragraph(out, "  expect", INDENT, &words);
    let smallest = format!("smallest leak told from none: {} {unit}", number(expected.smallest_leak));
    paragraph(out, "", INDENT, &smallest);
    if let Some(floor) = test.instrument_floor {
        let words = format!("instruments and compliance alone: standard uncertainty {} {unit}", number(floor));
        paragraph(out, "", INDENT, &words);
    }
    if let Some(largest) = expected.budget.first() {
        paragraph(out, "", INDENT, &format!("largest contribution: {}", largest.source));
    }
}

/// Durations downwards, pressure differences across.
fn write_curves(out: &mut String, test: &DesignedTest) {
    const COLUMN: usize = 16;
    let Some(longest) = test.curves.iter().max_by_key(|curve| curve.points.len()) else { return };
    let row = |name: &str, cells: &dyn Fn(&Curve) -> String| {
        let mut row = format!("{:INDENT$}{name:<14}", "");
        test.curves.iter().for_each(|curve| row.push_str(&format!("{:>COLUMN$}", cells(curve))));
        row + "\n"
    };
    paragraph(out, "  curve", INDENT, &format!("expanded uncertainty, {}", test.unit));
    out.push_str(&row("duration", &|curve| words::pressure(curve.pressure_difference_pa)));
    for point in &longest.points {
        let at = |curve: &Curve| {
            let found = curve.points.iter().find(|other| (other.duration_s - point.duration_s).abs() < 1.0);
            found.map_or("-".to_owned(), |point| display_number(point.expanded_uncertainty, 2))
        };
        out.push_str(&row(&words::duration(point.duration_s), &at));
    }
}

fn write_improvements(out: &mut String, test: &DesignedTest) {
    for line in &test.improvements {
        let shortest = match line.duration_s {
            Some(duration_s) => format!("shortest test {}", words::duration(duration_s)),
            None => "no test of this length decides".to_owned(),
        };
        let ratio = 100.0 * line.uncertainty_ratio;
        let words = format!("{}: {ratio:.0} % of the uncertainty, {shortest}", line.change);
        paragraph(out, "  better", INDENT, &words);
    }
}
