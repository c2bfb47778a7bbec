//! A frame with two axes, in which curves and points are drawn.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::letters;
use crate::report::numbers::{rounded_up, signed};

/// Size of the letters, as the style has it.
pub(super) const LETTERS: f64 = 13.0;

/// Where the frame stands in its picture.
const LEFT: f64 = 58.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 30.0;
const BOTTOM: f64 = 24.0;
/// Length of a value that stands alone in a curve: a square, as its stroke is
/// wide, for without length nothing would be drawn.
const DOT: f64 = 1.6;
/// Nearer to each other words could touch.
const BETWEEN_WORDS: f64 = 8.0;

/// Maps a span of values onto a span of the picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Axis {
    pub values: [f64; 2],
    pub place: [f64; 2],
}

impl Axis {
    pub(super) fn at(self, value: f64) -> f64 {
        let [low, high] = self.values;
        let [from, to] = self.place;
        from + (value - low) / (high - low) * (to - from)
    }

    /// The same, kept inside.
    pub(super) fn within(self, value: f64) -> f64 {
        let [low, high] = self.values;
        self.at(value.clamp(low, high))
    }
}

/// Steps of 1, 2 or 5 times a power of ten: about so many as are wanted.
pub(super) fn ticks([low, high]: [f64; 2], wanted: f64) -> (Vec<f64>, usize) {
    let rough = ((high - low) / wanted).max(1e-9);
    let power = 10f64.powf(rough.log10().floor());
    let factor = [1.0, 2.0, 5.0, 10.0].into_iter();
    let mut steps = factor.map(|it| it * power);
    let step = steps.find(|it| *it >= rough * 0.999).unwrap_or(rough);
    let first = (low / step - 1e-6).ceil() as i64;
    let last = (high / step + 1e-6).floor() as i64;
    let decimals = (-(step * 1.001).log10().floor()).clamp(0.0, 4.0) as usize;
    let all = (first..=last).map(|n| n as f64 * step).collect();
    (all, decimals)
}

/// Lowest and highest of the values with some air, and at least this far apart.
pub(super) fn span(values: impl Iterator<Item = f64>, least: f64) -> Option<[f64; 2]> {
    let mut known = values.filter(|it| it.is_finite());
    let first = known.next()?;
    let (low, high) = known.fold((first, first), |(low, high), it| {
        (low.min(it), high.max(it))
    });
    let missing = (least - (high - low)).max(0.0) / 2.0;
    let (low, high) = (low - missing, high + missing);
    let air = 0.06 * (high - low);
    Some([low - air, high + air])
}

/// A frame: across whatever it is, upwards percent.
#[derive(Clone, Debug)]
pub(super) struct Frame {
    pub size: [f64; 2],
    pub across: Axis,
    pub up: Axis,
}

impl Frame {
    pub(super) fn new(size: [f64; 2], across: [f64; 2], up: [f64; 2]) -> Self {
        Self {
            size,
            across: Axis {
                values: across,
                place: [LEFT, size[0] - RIGHT],
            },
            up: Axis {
                values: up,
                place: [size[1] - BOTTOM, TOP],
            },
        }
    }

    /// Where the speed counts as right, as far as it is in the frame, and which
    /// that is.
    pub(super) fn zone(&self, half_width: f64) -> Markup {
        let [top, bottom] = [half_width, -half_width].map(|it| self.up.within(it));
        let [left, right] = self.across.place;
        html! {
            @if bottom - top > 0.5 {
                rect class="zone" x=(left) y=(n(top)) width=(right - left) height=(n(bottom - top)) {}
            }
            @for edge in [half_width, -half_width] {
                @if self.holds(edge) { (self.level(edge, "edge dashed")) }
            }
            text class="soft" x=(left) y="17.5" { "right: ±" (rounded_up(half_width)) " %" }
        }
    }

    fn holds(&self, value: f64) -> bool {
        (self.up.values[0]..=self.up.values[1]).contains(&value)
    }

    /// A line from side to side.
    pub(super) fn level(&self, value: f64, class: &str) -> Markup {
        let [left, right] = self.across.place;
        let y = n(self.up.at(value));
        html! { line class=(class) x1=(left) x2=(right) y1=(y) y2=(y) {} }
    }

    /// Grid and figures upwards; the unit stands over them.
    pub(super) fn figures(&self, unit: &str, is_signed: bool) -> Markup {
        let [left, _] = self.across.place;
        let (values, decimals) = ticks(self.up.values, 5.0);
        html! {
            @for value in values {
                @let figure = if is_signed { signed(value, decimals) } else { format!("{value:.decimals$}") };
                (self.level(value, if value.abs() < 1e-9 { "axis" } else { "grid" }))
                text class="soft end" x=(left - 6.0) y=(n(self.up.at(value) + 4.5)) { (figure.replace('-', "−")) }
            }
            text class="soft" x="4" y=(n(self.up.place[1] - 12.0)) { (unit) }
        }
    }

    /// Words under the frame, each at its place, as many as have room; the first
    /// ones have it before the others.
    pub(super) fn under(&self, words: &[(f64, String)]) -> Markup {
        let y = n(self.up.place[0] + 17.0);
        let mut shown: Vec<(f64, f64, &str)> = Vec::new();
        for (value, words) in words {
            let half = letters::width(words, LETTERS) / 2.0;
            let most = self.size[0] - half - 2.0;
            let middle = self.across.at(*value).min(most).max(half);
            let is_free = shown
                .iter()
                .all(|(at, wide, _)| (middle - at).abs() >= half + wide + BETWEEN_WORDS);
            if is_free {
                shown.push((middle, half, words));
            }
        }
        html! {
            @for (middle, _, words) in shown {
                text class="soft mid" x=(n(middle)) y=(y) { (words) }
            }
        }
    }

    /// Seconds under the frame.
    pub(super) fn seconds(&self) -> Markup {
        let (values, decimals) = ticks(self.across.values, 5.0);
        let last = values.len().saturating_sub(1);
        let words: Vec<_> = values
            .into_iter()
            .enumerate()
            .map(|(nth, value)| {
                let unit = if nth == last { " s" } else { "" };
                (value, format!("{value:.decimals$}{unit}"))
            })
            .collect();
        self.under(&words)
    }

    /// A curve through the values, broken where there is none.
    pub(super) fn curve(
        &self,
        values: impl Iterator<Item = (f64, Option<f64>)>,
        class: &str,
    ) -> Markup {
        let mut path = String::new();
        let mut is_open = false;
        let mut values = values
            .map(|(across, value)| (across, value.filter(|it| it.is_finite())))
            .peekable();
        while let Some((across, value)) = values.next() {
            let Some(value) = value else {
                is_open = false;
                continue;
            };
            let (x, y) = (self.across.at(across), self.up.within(value));
            let is_alone = !is_open && values.peek().is_none_or(|it| it.1.is_none());
            // Writing to a string cannot fail.
            let _ = if is_alone {
                write!(path, "M{} {}h{DOT}", n(x - DOT / 2.0), n(y))
            } else {
                let to = if is_open { 'L' } else { 'M' };
                write!(path, "{to}{} {}", n(x), n(y))
            };
            is_open = true;
        }
        html! { path class={ "curve " (class) } d=(path) {} }
    }
}

/// To a tenth: nobody sees more.
pub(super) fn n(value: f64) -> f64 {
    let rounded = (value * 10.0).round() / 10.0;
    // −0 would be written with its sign.
    rounded + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_and_cover_the_span() {
        let (values, decimals) = ticks([-1.3, 0.7], 4.0);
        let shown: Vec<String> = values.iter().map(|it| format!("{it:.decimals$}")).collect();
        assert_eq!(shown, ["-1.0", "-0.5", "0.0", "0.5"]);
        for (low, high) in [(0.0, 3.0), (-0.004, 0.003), (0.0, 1234.0), (2.0, 2.0)] {
            let (values, _) = ticks([low, high], 4.0);
            assert!(values.len() <= 11, "{low} {high}: {values:?}");
            assert!(
                values
                    .iter()
                    .all(|it| (low - 1e-6..=high + 1e-6).contains(it))
            );
        }
    }

    #[test]
    fn a_value_between_gaps_is_drawn() {
        let frame = Frame::new([200.0, 100.0], [0.0, 5.0], [0.0, 1.0]);
        let drawn = |values: &[Option<f64>]| {
            let values = values.iter().enumerate();
            let curve = frame.curve(values.map(|(at, it)| (at as f64, *it)), "after-line");
            curve.into_string().matches("h1.6").count()
        };
        let one = Some(0.5);
        assert_eq!(drawn(&[None, one, None, one, one, None, one]), 2);
        assert_eq!(drawn(&[one, None, Some(f64::NAN)]), 1);
        assert_eq!(drawn(&[one, one, one]), 0);
    }

    #[test]
    fn what_is_no_number_spans_nothing() {
        assert_eq!(span([f64::NAN].into_iter(), 1.0), None);
        assert_eq!(span([2.0].into_iter(), 1.0), Some([1.44, 2.56]));
    }
}
