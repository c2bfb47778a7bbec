//! What the ± of the digits is made of, line by line, over the whole screen.

use ratatui_core::style::Style;

use crate::readings::{ClockSource, SampleClock, SpeedReading};
use crate::report::numbers::rounded_up_to;
use crate::report::{capital, clock_source, worth};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, wrap};
use crate::screen::state::ScreenState;
use crate::units::Percent;

/// A line of the budget: what it is, and its 95 %.
struct Line {
    what: String,
    part: Option<Percent>,
    /// A sum of the lines above it.
    sum: bool,
}

/// Columns of the figures at the right.
const FIGURE: u16 = 11;

/// Digits after the point: parts are small.
const DECIMALS: usize = 4;

fn lines(state: &ScreenState, speed: &SpeedReading) -> Vec<Line> {
    let part = |what: String, part| Line {
        what,
        part,
        sum: false,
    };
    let sum = |what: &str, part| Line {
        what: what.to_owned(),
        part,
        sum: true,
    };
    let clock = &state.conditions.clock;
    let reference = state.conditions.reference.uncertainty;
    let own = if state.conditions.reference.home_made {
        "the tape's own error: home-made, without a figure of its own"
    } else {
        "the tape's own error"
    };
    vec![
        part(
            format!(
                "wow and noise left in the mean of {:.1} s, by this machine's own scatter",
                speed.averaged.0
            ),
            speed.scatter,
        ),
        part(
            clock_line(state.look, clock),
            Some(clock.uncertainty.percent()),
        ),
        sum("together, by this tape", speed.uncertainty),
        part(own.to_owned(), reference),
        sum(
            "together, the tape's error included",
            speed.uncertainty_with_reference,
        ),
    ]
}

fn clock_line(look: Look, clock: &SampleClock) -> String {
    let mut from = clock_source(clock.source).to_owned();
    if clock.source == ClockSource::Default {
        from.push_str("; tapewright clock measures it");
    }
    // Rounded up, as every ± is.
    let uncertainty = (clock.uncertainty.0 * 10.0).ceil() / 10.0;
    let known = format!("{}{uncertainty} ppm", look.plus_minus());
    if clock.error.0 == 0.0 {
        format!("sample clock, {known} ({from})")
    } else {
        let error = clock.error.0;
        format!("sample clock, {error:+.1} ppm taken out, {known} left ({from})")
    }
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let head = format!(
        "what the {} of the digits is made of, each 95 %",
        look.plus_minus()
    );
    pen.text(0, 0, &head, look.strong());
    let last = pen.height().saturating_sub(1);
    pen.text(0, last, "i, Space or Esc back", look.faint());
    let Some(speed) = state.reading().and_then(|reading| reading.speed) else {
        pen.text(0, 2, "nothing yet: no tone is followed", Style::new());
        return;
    };
    let mut y = 2;
    for line in lines(state, &speed) {
        let style = if line.sum {
            look.strong()
        } else {
            Style::new()
        };
        let figure = line.part.map_or("not known".to_owned(), |part| {
            format!("{}{} %", look.plus_minus(), rounded_up_to(part.0, DECIMALS))
        });
        pen.right(y, &figure, style);
        for text in wrap(&line.what, pen.width().saturating_sub(FIGURE + 1)) {
            pen.text(0, y, &text, style);
            y += 1;
        }
        y += u16::from(line.sum);
    }
    let how = "Independent parts add by their squares (JCGM 100).".to_owned();
    let steady = state.reading().and_then(|it| it.worth);
    let steady = steady.map(|it| capital(&worth(&it)) + ".");
    for sentence in steady.into_iter().chain([how]) {
        let texts = wrap(&sentence, pen.width());
        // Whole or not at all.
        if y + texts.len() as u16 > last {
            break;
        }
        for text in texts {
            pen.text(0, y, &text, look.faint());
            y += 1;
        }
    }
}
