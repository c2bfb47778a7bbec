//! The trend of the last minutes as a strip with a scale of its own.

use crate::screen::canvas::Canvas;
use crate::screen::pen::Pen;
use crate::screen::state::ScreenState;
use crate::screen::words::signed;
use crate::units::{Percent, Seconds};

/// Rows beyond which a curve tells no more.
pub(in crate::screen) const MOST_ROWS: u16 = 11;

/// Columns for the scale at the left.
const LABELS: u16 = 14;

/// Time that one value of the trend stands for.
const STEP: Seconds = Seconds(0.5);

/// Smallest range shown, in percent: below it, noise would fill the strip.
const SMALLEST_RANGE: f64 = 0.1;

/// Lower and upper edge in percent.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Range {
    low: f64,
    high: f64,
}

impl Range {
    /// Round figures around all values.
    fn around(values: impl Iterator<Item = f64>) -> Option<Self> {
        let (low, high) = values.fold(None, |range: Option<(f64, f64)>, value| {
            let (low, high) = range.unwrap_or((value, value));
            Some((low.min(value), high.max(value)))
        })?;
        let span = (high - low).max(SMALLEST_RANGE);
        let step = [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0]
            .into_iter()
            .find(|step| span / step <= 4.0)
            .unwrap_or(10.0);
        let low = (low / step).floor() * step;
        let high = ((high / step).ceil() * step).max(low + SMALLEST_RANGE);
        Some(Self { low, high })
    }

    /// From 0 at the lower edge to `levels` - 1 at the upper.
    fn level(self, value: f64, levels: usize) -> usize {
        let part = (value - self.low) / (self.high - self.low);
        (part * (levels - 1) as f64).round().max(0.0) as usize
    }
}

/// The newest `dots` groups of `group` values each, as means, oldest first.
/// Groups are counted from the start of the input, so that a dot, once drawn,
/// does not change.
fn dots(trend: &[Option<Percent>], at: Seconds, group: usize, dots: usize) -> Vec<Option<f64>> {
    let end = (at.0 / STEP.0) as usize;
    let first = end.saturating_sub(trend.len());
    let group_of = |place: usize| (first + place) / group;
    let newest = group_of(trend.len().saturating_sub(1));
    let mut sums = vec![(0.0, 0u32); dots];
    for (place, value) in trend.iter().enumerate() {
        let age = newest - group_of(place);
        if let (Some(value), Some(dot)) = (value, dots.checked_sub(age + 1)) {
            sums[dot].0 += value.0;
            sums[dot].1 += 1;
        }
    }
    let mean = |(sum, count): (f64, u32)| (count > 0).then(|| sum / f64::from(count));
    sums.into_iter().map(mean).collect()
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let (columns, rows) = (pen.width().saturating_sub(LABELS + 1), pen.height());
    if columns < 8 || rows == 0 {
        return;
    }
    let look = state.look;
    let Some(reading) = state.reading() else {
        pen.text(0, 0, "trend", look.faint());
        return;
    };
    let per_cell = if look.unicode { 2 } else { 1 };
    let across = usize::from(columns) * per_cell;
    let group = reading.trend.len().div_ceil(across).max(1);
    let dots = dots(&reading.trend, reading.at, group, across);
    let span = across as f64 * group as f64 * STEP.0;
    let caption = if span < 120.0 {
        format!("trend {span:.0} s")
    } else {
        format!("trend {:.0} min", span / 60.0)
    };
    let Some(range) = Range::around(dots.iter().copied().flatten()) else {
        pen.text(0, 0, &caption, look.faint());
        pen.text(LABELS + 1, 0, "nothing yet", look.faint());
        return;
    };
    draw_labels(state, pen, range, &caption);
    let style = if state.is_live() {
        look.accent()
    } else {
        look.faint()
    };
    let mut canvas = Canvas::new(usize::from(columns), usize::from(rows), look.unicode);
    let mut before = None;
    for (x, value) in dots.iter().enumerate() {
        let level = value.map(|value| range.level(value, canvas.levels()));
        if let Some(level) = level {
            canvas.join(x, before.unwrap_or(level), level);
        }
        before = level;
    }
    for (y, line) in (0u16..).zip(canvas.lines()) {
        pen.text(LABELS, y, "│", look.faint());
        pen.text(LABELS + 1, y, &line, style);
    }
}

fn draw_labels(state: &ScreenState, pen: &mut Pen, range: Range, caption: &str) {
    let style = state.look.faint();
    let last = pen.height() - 1;
    let label = |value: f64| format!("{:>7}", signed(value, 2));
    if last == 0 {
        pen.text(0, 0, caption, style);
        return;
    }
    pen.text(LABELS - 8, 0, &label(range.high), style);
    pen.text(LABELS - 8, last, &label(range.low), style);
    if last > 1 {
        pen.text(0, last / 2, caption, style);
        pen.text(0, 0, "%", style);
    } else {
        pen.text(0, 0, "trend", style);
        pen.text(0, 1, caption.trim_start_matches("trend "), style);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scale_is_round_and_holds_everything() {
        let range = Range::around([-1.23, -0.4].into_iter()).unwrap();
        assert_eq!(signed(range.low, 2), "-1.50");
        assert_eq!(signed(range.high, 2), "0.00");
        let still = Range::around([0.012].into_iter()).unwrap();
        assert!(still.high - still.low >= SMALLEST_RANGE);
        assert_eq!(Range::around(std::iter::empty()), None);
    }

    #[test]
    fn a_dot_once_drawn_does_not_change() {
        let all: Vec<Option<Percent>> = (0..40).map(|at| Some(Percent(f64::from(at)))).collect();
        let before = dots(&all[..30], Seconds(15.0), 3, 20);
        let after = dots(&all[..33], Seconds(16.5), 3, 20);
        assert_eq!(before[1..], after[..19]);
        assert_eq!(after[19], Some(31.0));
    }

    #[test]
    fn a_gap_stays_a_gap() {
        let trend = [Some(Percent(1.0)), None, Some(Percent(2.0))];
        assert_eq!(
            dots(&trend, Seconds(1.5), 1, 4),
            [None, Some(1.0), None, Some(2.0)]
        );
    }
}
