//! The needle: mean of the last 150 ms on a level scale with zero in the
//! middle, the tolerance band marked, the digits as a second mark. Which end is
//! slow stands in the row of the scale, which is always there.

use super::verdict::{self, LAST_TIME};
use crate::screen::pen::{Pen, width};
use crate::screen::references;
use crate::screen::state::ScreenState;

/// The scale never gets closer than this many bands: closer, flutter alone
/// would throw the needle of a machine that is right from end to end.
const BANDS: f64 = 2.0;

/// Rows that show everything: caption, two rows of needle, scale.
pub(in crate::screen) const ROWS: u16 = 4;

/// Where a figure stands on a scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    Column(u16),
    BeyondLeft,
    BeyondRight,
}

/// A level scale of some columns with zero in the middle one.
#[derive(Clone, Copy)]
struct Ruler {
    middle: u16,
    full: f64,
}

impl Ruler {
    fn new(width: u16, full: f64) -> Self {
        Self {
            middle: width.saturating_sub(1) / 2,
            full,
        }
    }

    fn place(self, value: f64) -> Place {
        let steps = (value / self.full * f64::from(self.middle)).round();
        if steps.abs() > f64::from(self.middle) {
            return if value < 0.0 {
                Place::BeyondLeft
            } else {
                Place::BeyondRight
            };
        }
        Place::Column((f64::from(self.middle) + steps) as u16)
    }

    fn last(self) -> u16 {
        self.middle * 2
    }
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let (columns, height) = (pen.width(), pen.height());
    if columns < 3 || height < 2 {
        return;
    }
    let closest = BANDS * state.tolerance.half_width.0;
    let ruler = Ruler::new(columns, state.needle_scale.full().max(closest));
    let captions = u16::from(height >= ROWS);
    let tracks = captions..height - 1;
    if captions > 0 {
        draw_caption(state, pen, ruler);
    }
    for y in tracks.clone() {
        draw_track(state, pen, ruler, y);
        draw_last_time(state, pen, ruler, y);
    }
    draw_labels(state, pen, ruler, height - 1);
    let Some(speed) = state.reading().and_then(|reading| reading.speed.as_ref()) else {
        return;
    };
    let moving = if state.is_live() {
        state.look.accent()
    } else {
        state.look.faint()
    };
    let marks = height - 2;
    // Where there is one row for both, the needle hides its own mark.
    if tracks.len() == 1 {
        draw_marks(state, pen, ruler, marks);
    }
    for y in tracks.clone() {
        match ruler.place(speed.needle.0) {
            Place::Column(x) => {
                // Two cells wide to the eye and centred on its column.
                if x > 0 {
                    pen.text(x - 1, y, "▐", moving);
                }
                pen.text(x, y, "█", moving);
                if x < ruler.last() {
                    pen.text(x + 1, y, "▌", moving);
                }
            }
            Place::BeyondLeft => {
                pen.text(0, y, "◀◀", moving);
            }
            Place::BeyondRight => {
                pen.text(ruler.last() - 1, y, "▶▶", moving);
            }
        }
    }
    if tracks.len() > 1 {
        draw_marks(state, pen, ruler, marks);
    }
}

/// Where the digits stand, and where the speed will settle.
fn draw_marks(state: &ScreenState, pen: &mut Pen, ruler: Ruler, y: u16) {
    let look = state.look;
    let Some(reading) = state.reading() else {
        return;
    };
    if let Some(speed) = &reading.speed
        && let Place::Column(x) = ruler.place(speed.deviation.0)
    {
        let style = if state.is_live() {
            look.accent()
        } else {
            look.faint()
        };
        pen.text(x, y, "▲", style);
    }
    if let Some(heading) = reading.guidance.heading {
        let (x, sign) = match ruler.place(heading.0) {
            Place::Column(x) => (x, "◆"),
            Place::BeyondLeft => (0, "◀"),
            Place::BeyondRight => (ruler.last(), "▶"),
        };
        pen.text(x, y, sign, look.badge());
    }
}

/// Where it stood last time: behind the needle, and only where it is said what
/// it is.
fn draw_last_time(state: &ScreenState, pen: &mut Pen, ruler: Ruler, y: u16) {
    let last = verdict::last_time_beside(state, pen.width());
    let last = last.and_then(|(it, _)| it.measurement.speed);
    if let Some(speed) = last
        && let Place::Column(x) = ruler.place(speed.deviation.0)
    {
        pen.text(x, y, LAST_TIME, state.look.faint());
    }
}

fn draw_caption(state: &ScreenState, pen: &mut Pen, ruler: Ruler) {
    let look = state.look;
    let band = state.tolerance.half_width.0;
    let zone = if band >= ruler.full {
        "all of it within the band"
    } else {
        "=== the band"
    };
    let needle = references::needle(state.conditions.kind);
    let scale = format!("scale {}{} %", look.plus_minus(), ruler.full);
    let room = ruler.last() + 1;
    let texts = [
        format!("needle {needle}, {scale}, ▲ digits, ◆ will settle, {zone}"),
        format!("needle {needle}, {scale}, ▲ digits, ◆ will settle"),
        format!("needle {needle}, {scale}"),
        scale.clone(),
    ];
    if let Some(text) = texts.iter().find(|it| width(it) <= room) {
        pen.centred(ruler.middle, 0, text, look.faint());
    }
}

fn draw_track(state: &ScreenState, pen: &mut Pen, ruler: Ruler, y: u16) {
    let look = state.look;
    let band = state.tolerance.half_width.0;
    for x in 0..=ruler.last() {
        let value = (f64::from(x) - f64::from(ruler.middle)) / f64::from(ruler.middle) * ruler.full;
        let inside = value.abs() <= band;
        let (cell, style) = if x == ruler.middle {
            ("┼", look.strong())
        } else if inside {
            ("═", look.strong())
        } else {
            ("─", look.faint())
        };
        pen.text(x, y, cell, style);
    }
    for edge in [-band, band] {
        if let Place::Column(x) = ruler.place(edge) {
            pen.text(x, y, "│", look.strong());
        }
    }
}

fn draw_labels(state: &ScreenState, pen: &mut Pen, ruler: Ruler, y: u16) {
    let full = ruler.full;
    let style = state.look.faint();
    let left = pen.text(0, y, &format!("SLOW {:+} %", -full), style);
    let end = format!("{full:+} % FAST");
    let right = (ruler.last() + 1).saturating_sub(width(&end));
    pen.text(right, y, &end, style);
    pen.centred(ruler.middle, y, "0", style);
    for value in [-full / 2.0, full / 2.0] {
        let label = format!("{value:+}");
        let half = width(&label) / 2;
        if let Place::Column(x) = ruler.place(value)
            // Apart from the words at both ends, or not at all.
            && x > left + half
            && x + half + 1 < right
        {
            pen.centred(x, y, &label, style);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zero_is_in_the_middle_and_the_ends_are_full_scale() {
        let ruler = Ruler::new(79, 1.0);
        assert_eq!(ruler.place(0.0), Place::Column(39));
        assert_eq!(ruler.place(-1.0), Place::Column(0));
        assert_eq!(ruler.place(1.0), Place::Column(78));
        assert_eq!(ruler.place(0.5), Place::Column(59));
        assert_eq!(ruler.place(1.1), Place::BeyondRight);
        assert_eq!(ruler.place(-1.1), Place::BeyondLeft);
    }
}
