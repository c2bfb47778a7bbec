//! The check of the trimmer's wiper: what to do, the speed against the sweep
//! while it is turned, then the verdict, and the earlier sweep beside it.

use std::sync::Arc;

use crate::readings::{
    Direction, SweepPicture, SweepProgress, SweepReport, SweepVerdict, Sweeping,
};
use crate::report::sweep::{
    Between, Comparison, ELSEWHERE, advice, backlash_words, headline, range_words, slight_words,
    spot_words,
};
use crate::screen::canvas::Canvas;
use crate::screen::pen::{Pen, rows_of, wrap};
use crate::screen::state::{ScreenState, SourceKind};
use crate::screen::words::signed;

const HOW: &str = "Let the tape play. Leave the trimmer alone for three seconds, then turn it \
    slowly to one end of its usable range, to the other, and back, two rounds in one go. \
    Do not force a stop. Mark its position first, and leave a sealed one as it is.";

const UNDER_WAY: &str = "Slowly to one end of the usable range, to the other, and back, twice; do \
    not force a stop. Pausing does no harm.";

const HOW_IN_REHEARSAL: &str = "j lets a simulated hand do it; arrow keys turn it yourself.";

/// Columns of the scale at the left of a picture.
const LABELS: u16 = 7;
/// From here on two pictures stand side by side.
const TWO_PICTURES: u16 = 70;
/// Rows that show a useful picture.
const LEAST_PICTURE: u16 = 3;

/// Draws the whole view.
pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    match state.sweeping() {
        Some(Sweeping::Running(progress)) => draw_running(state, progress, pen),
        Some(Sweeping::Done(_)) | None => match state.sweeps.last() {
            None => draw_before(state, pen),
            Some(newest) => draw_done(state, state.earlier_sweep(), &newest.report, pen),
        },
    }
}

fn draw_before(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    pen.text(0, 0, "wiper check: w begins", look.strong());
    pen.texts(1, &how(state), look.faint());
}

fn how(state: &ScreenState) -> Vec<String> {
    let mut texts = vec![HOW.to_owned()];
    if state.kind == SourceKind::Rehearsal {
        texts.push(HOW_IN_REHEARSAL.to_owned());
    }
    texts
}

fn draw_running(state: &ScreenState, progress: &SweepProgress, pen: &mut Pen) {
    let look = state.look;
    pen.text(0, 0, &running_words(progress), look.strong());
    let mut texts = Vec::new();
    if progress.full {
        texts.push("The memory is full; w ends and judges it.".to_owned());
    } else if progress.rounds >= 2 {
        texts.push("Two rounds: w ends and judges it.".to_owned());
    } else if progress.rounds == 1 {
        texts.push(
            "Out and back once. Once more: a dead spot shows in the second round.".to_owned(),
        );
    } else {
        texts.push(UNDER_WAY.to_owned());
    }
    let rows = rows_of(&texts, pen.width());
    let picture = pen.height().saturating_sub(1 + rows).max(LEAST_PICTURE);
    let frame = Frame {
        left: 0,
        top: 1,
        columns: pen.width(),
        rows: picture,
    };
    draw_picture(state, &progress.picture, None, frame, pen);
    pen.texts(1 + picture, &texts, look.faint());
}

fn running_words(progress: &SweepProgress) -> String {
    let way = match progress.direction {
        None => "at rest",
        Some(Direction::Up) => "going faster",
        Some(Direction::Down) => "going slower",
    };
    let range = progress.range.map_or_else(String::new, |[low, high]| {
        format!(", {} to {} %", signed(low.0, 1), signed(high.0, 1))
    });
    format!(
        "wiper, w ends: {way}, {:.0} s{range}",
        progress.lasted.0.floor()
    )
}

fn draw_done(
    state: &ScreenState,
    earlier: Option<(&Arc<SweepReport>, Between)>,
    newest: &Arc<SweepReport>,
    pen: &mut Pen,
) {
    let look = state.look;
    let style = if newest.verdict == SweepVerdict::Smooth {
        look.strong()
    } else {
        look.alarm()
    };
    let head = format!("wiper: {}", headline(newest));
    let mut y = 0;
    for line in wrap(&head, pen.width()) {
        pen.text(0, y, &line, style);
        y += 1;
    }
    let texts = sentences(earlier, newest);
    let wanted = rows_of(&texts, pen.width());
    let picture = pen.height().saturating_sub(y + wanted).max(LEAST_PICTURE);
    let whole = Frame {
        left: 0,
        top: y,
        columns: pen.width(),
        rows: picture,
    };
    match earlier {
        Some((earlier, between)) if pen.width() >= TWO_PICTURES => {
            let (left, right) = whole.halves();
            let name = match between {
                Between::Cleaned(_) => "before cleaning",
                Between::Unknown | Between::Nothing => "earlier",
            };
            for (frame, report, name) in [(left, earlier, name), (right, newest, "now")] {
                pen.text(frame.left + LABELS + 1, frame.top, name, look.faint());
                let below = frame.below(1);
                draw_picture(state, &report.picture, Some(report), below, pen);
            }
        }
        _ => draw_picture(state, &newest.picture, Some(newest), whole, pen),
    }
    pen.texts(y + picture, &texts, look.faint());
}

/// What is said under the picture, what matters most first.
fn sentences(earlier: Option<(&Arc<SweepReport>, Between)>, newest: &SweepReport) -> Vec<String> {
    let mut texts = Vec::new();
    let replaces = earlier.is_some_and(|(_, between)| between.asks_for_a_new_one(newest));
    if let Some((earlier, between)) = earlier {
        let compared = Comparison::of(earlier, newest, between).sentence;
        let when = match between {
            Between::Cleaned(_) => "Before cleaning",
            Between::Unknown | Between::Nothing => "Earlier",
        };
        texts.push(format!("{when}: {}. {compared}", headline(earlier)));
    }
    // One order at a time.
    if !replaces {
        texts.push(advice(newest));
    }
    if newest.verdict == SweepVerdict::Erratic && newest.is_near_end() {
        texts.push(format!(
            "Right speed is near the end of the travel as well: look at {ELSEWHERE} too."
        ));
    }
    let more: Vec<String> = newest.bad_spots.iter().skip(1).map(spot_words).collect();
    if !more.is_empty() {
        texts.push(format!("Also {}.", more.join("; ")));
    }
    texts.extend(slight_words(newest));
    texts.extend(range_words(newest).map(|words| format!("Range {words}.")));
    texts.extend(backlash_words(newest).map(|words| format!("Backlash: {words}.")));
    texts
}

/// Where a picture stands.
#[derive(Clone, Copy, Debug)]
struct Frame {
    left: u16,
    top: u16,
    columns: u16,
    rows: u16,
}

impl Frame {
    fn halves(self) -> (Self, Self) {
        let columns = self.columns / 2;
        let right = Self {
            left: self.left + columns,
            columns,
            ..self
        };
        (Self { columns, ..self }, right)
    }

    fn below(self, rows: u16) -> Self {
        Self {
            top: self.top + rows,
            rows: self.rows.saturating_sub(rows),
            ..self
        }
    }
}

/// Speed upwards, time to the right; right speed is dotted, bad spots are X.
fn draw_picture(
    state: &ScreenState,
    picture: &SweepPicture,
    report: Option<&SweepReport>,
    frame: Frame,
    pen: &mut Pen,
) {
    let look = state.look;
    let columns = frame.columns.saturating_sub(LABELS + 2);
    let known = || picture.speed.iter().flatten().map(|speed| speed.0);
    let (low, high) = known().fold((f64::MAX, f64::MIN), |(low, high), speed| {
        (low.min(speed), high.max(speed))
    });
    if columns < 8 || frame.rows == 0 || low > high {
        return;
    }
    let span = (high - low).max(0.2);
    let mut canvas = Canvas::new(usize::from(columns), usize::from(frame.rows), look.unicode);
    let top = (canvas.levels() - 1) as f64;
    let level = |speed: f64| ((speed - low) / span * top).round().max(0.0) as usize;
    let across = usize::from(columns) * if look.unicode { 2 } else { 1 };
    let mut before = None;
    for x in 0..across {
        let at = x * picture.speed.len() / across;
        let now = picture.speed[at].map(|speed| level(speed.0));
        if let Some(now) = now {
            canvas.join(x, before.unwrap_or(now), now);
        }
        before = now;
    }
    let row_of = |speed: f64| {
        let from_top = (high - speed) / span * f64::from(frame.rows - 1);
        frame.top + (from_top.round().max(0.0) as u16).min(frame.rows - 1)
    };
    let left = frame.left + LABELS + 1;
    for (y, line) in (frame.top..).zip(canvas.lines()) {
        pen.text(left - 1, y, "│", look.faint());
        pen.text(left, y, &line, look.accent());
        let right_speed = low <= 0.0 && high >= 0.0 && row_of(0.0) == y;
        for (x, letter) in (left..).zip(line.chars()) {
            if right_speed && (letter == ' ' || letter == '\u{2800}') && x % 2 == 0 {
                pen.text(x, y, "·", look.faint());
            }
        }
    }
    for (y, value) in [
        (frame.top, high),
        (frame.top + frame.rows - 1, low),
        (row_of(0.0), 0.0),
    ] {
        if (low..=high).contains(&value) {
            let label = format!("{:>6}", signed(value, 1));
            pen.text(frame.left, y, &label, look.faint());
        }
    }
    let lasts = picture.step.0 * picture.speed.len() as f64;
    for spot in report.map_or(&[][..], |report| &report.bad_spots) {
        for time in &spot.times {
            let x = (time.0 / lasts * f64::from(columns)) as u16;
            pen.text(
                left + x.min(columns - 1),
                row_of(spot.at.0),
                "X",
                look.alarm(),
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{BadSpot, Pass, SpotKind, SpotSeen};
    use crate::screen::specimen::{self, text};
    use crate::screen::state::view::View;
    use crate::units::{Percent, Seconds};

    fn picture() -> SweepPicture {
        let speed = (0..400)
            .map(|at| {
                let out = f64::from(if at < 200 { at } else { 400 - at }) / 200.0;
                Some(Percent(-4.0 + 8.0 * out))
            })
            .collect();
        SweepPicture {
            step: Seconds(0.1),
            speed,
        }
    }

    fn report(bad: bool) -> SweepReport {
        let spot = BadSpot {
            at: Percent(-0.8),
            depth: Some(Percent(0.6)),
            kind: SpotKind::Jump,
            seen: SpotSeen::Both,
            times: vec![Seconds(8.0), Seconds(32.0)],
        };
        SweepReport {
            verdict: if bad {
                SweepVerdict::Erratic
            } else {
                SweepVerdict::Smooth
            },
            unclear: None,
            range: Some([Percent(-4.0), Percent(4.0)]),
            bad_spots: if bad { vec![spot] } else { Vec::new() },
            picture: picture(),
            ..SweepReport::unclear(crate::readings::Unclear::NoTone)
        }
    }

    fn showing(sweep: Option<Sweeping>) -> ScreenState {
        let mut reading = specimen::reading(-2.0);
        reading.sweep = sweep;
        let mut state = specimen::showing(reading);
        state.view = View::Wiper;
        state
    }

    #[test]
    fn a_bad_spot_is_named_and_marked_where_it_lies() {
        let state = showing(Some(Sweeping::Done(Arc::new(report(true)))));
        for size in [(80, 24), (50, 14)] {
            let text = text(&state, size);
            for needed in ["jumps at -0.8 %", "power off", "X"] {
                assert!(text.contains(needed), "{needed} is missing:\n{text}");
            }
        }
        let wide = text(&state, (80, 24));
        let marked: Vec<&str> = wide.lines().filter(|row| row.contains('X')).collect();
        // Both ways, in the row of -0.8 % and nowhere else.
        assert_eq!(marked.len(), 1, "{wide}");
        assert_eq!(marked[0].matches('X').count(), 2, "{wide}");
    }

    #[test]
    fn the_earlier_sweep_stands_beside_the_newest() {
        let mut state = showing(Some(Sweeping::Done(Arc::new(report(true)))));
        let mut after = specimen::reading(-2.0);
        after.sweep = Some(Sweeping::Done(Arc::new(report(false))));
        let _ = state.take(specimen::live(2, after));
        assert_eq!(state.sweeps.len(), 2);
        let text = text(&state, (80, 24));
        for needed in [
            "earlier",
            "now",
            "wiper: smooth",
            "Earlier: jumps at -0.8 %",
        ] {
            assert!(text.contains(needed), "{needed} is missing:\n{text}");
        }
    }

    #[test]
    fn one_round_ticks_no_step_and_two_do() {
        let of_rounds = |rounds: usize| {
            let pass = Pass {
                from: Seconds(0.0),
                to: Seconds(10.0),
                direction: Direction::Up,
            };
            Some(Sweeping::Done(Arc::new(SweepReport {
                passes: vec![pass; 2 * rounds],
                ..report(false)
            })))
        };
        let ticked = |state: &ScreenState| text(state, (100, 30)).contains("✓wiper");
        assert!(!ticked(&showing(of_rounds(1))));
        let mut state = showing(of_rounds(2));
        assert!(ticked(&state));
        // One round tells less than the two before it: the step is open again.
        let mut after = specimen::reading(-2.0);
        after.sweep = of_rounds(1);
        let _ = state.take(specimen::live(2, after));
        assert!(!ticked(&state));
    }

    #[test]
    fn after_two_cleanings_the_page_gives_one_order() {
        let mut state = showing(Some(Sweeping::Done(Arc::new(report(true)))));
        for revision in 2..4 {
            state.was_cleaned();
            let mut after = specimen::reading(-2.0);
            after.sweep = Some(Sweeping::Done(Arc::new(report(true))));
            let _ = state.take(specimen::live(revision, after));
        }
        for size in [(80, 24), (50, 14)] {
            let text = text(&state, size);
            assert!(text.contains("Replace"), "{text}");
            for other in ["power off", "clean it", "to cleaning"] {
                assert!(!text.contains(other), "{other}:\n{text}");
            }
        }
    }

    #[test]
    fn under_way_it_says_what_to_do_and_how_to_end() {
        let progress = SweepProgress {
            lasted: Seconds(12.4),
            rounds: 0,
            direction: Some(Direction::Up),
            range: Some([Percent(-4.0), Percent(1.0)]),
            picture: picture(),
            full: false,
        };
        let state = showing(Some(Sweeping::Running(progress)));
        for size in [(80, 24), (50, 14)] {
            let text = text(&state, size);
            for needed in ["12 s", "-4.0 to +1.0 %", "w ends", "going faster"] {
                assert!(text.contains(needed), "{needed} is missing:\n{text}");
            }
        }
    }

    #[test]
    fn every_size_and_plain_characters_are_drawn() {
        let done = Some(Sweeping::Done(Arc::new(report(true))));
        for sweep in [None, done] {
            let mut state = showing(sweep);
            state.look.unicode = false;
            for size in [(80, 24), (50, 14), (200, 60), (49, 13), (1, 1)] {
                let text = text(&state, size);
                assert!(text.is_ascii(), "{text}");
            }
        }
    }
}
