//! Hatching of a shaded stretch, so that phases can be told apart without colour.

use super::Shade;
use super::draw::UNIT;

/// Distance of neighbouring strokes.
const STEP: i32 = 9 * UNIT;

/// A stroke from one point to another, in units of the paper.
pub(super) type Stroke = [(i32, i32); 2];

/// The strokes that hatch the rectangle `[left, top, right, bottom]`.
pub(super) fn lines(shade: Shade, rectangle: [i32; 4]) -> Vec<Stroke> {
    match shade {
        Shade::Plain => Vec::new(),
        Shade::Rising => slanted(rectangle, true),
        Shade::Falling => slanted(rectangle, false),
        Shade::Upright => upright(rectangle),
        Shade::Crossed => [slanted(rectangle, true), slanted(rectangle, false)].concat(),
    }
}

fn upright([left, top, right, bottom]: [i32; 4]) -> Vec<Stroke> {
    (left..right).step_by(STEP as usize).skip(1).map(|x| [(x, top), (x, bottom)]).collect()
}

/// Strokes at 45 degrees, cut at the edges.
fn slanted([left, top, right, bottom]: [i32; 4], rising: bool) -> Vec<Stroke> {
    let height = bottom - top;
    let starts = (left - height..right).step_by(STEP as usize);
    let stroke = |x: i32| {
        let (from, to) = (x.max(left), (x + height).min(right));
        let y = |at: i32| if rising { bottom - (at - x) } else { top + (at - x) };
        (from < to).then(|| [(from, y(from)), (to, y(to))])
    };
    starts.filter_map(stroke).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_stay_inside_their_rectangle() {
        for shade in [Shade::Rising, Shade::Falling, Shade::Upright, Shade::Crossed] {
            let strokes = lines(shade, [100, 50, 700, 450]);
            assert!(strokes.len() > 5, "{shade:?}");
            assert!(strokes.iter().flatten().all(|(x, y)| (100..=700).contains(x) && (50..=450).contains(y)));
        }
        assert!(lines(Shade::Plain, [0, 0, 100, 100]).is_empty());
    }
}
