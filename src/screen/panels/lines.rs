//! What wavers: the lines in the flutter, strongest first, the likely cause with
//! its check, the spectrum, how the strongest went, and what two channels tell.

use ratatui_core::style::Style;

use crate::readings::{FlutterLine, FlutterLines, ReferenceKind, SPECTRUM_HZ, TwoChannels};
use crate::report::channels;
use crate::report::faults::{self, headline};
use crate::report::lines::{course, head, no_fault, none, short};
use crate::report::numbers::rounded_up_to;
use crate::screen::canvas::Canvas;
use crate::screen::pen::{Pen, fitting, width, wrap};
use crate::screen::state::ScreenState;
use crate::screen::words::signed;

/// Columns of rate, amplitude and share.
const RATE: u16 = 6;
const PEAK: u16 = 16;
const SHARE: u16 = 6;
/// From here on an amplitude has its ±, and a row says how the line went.
const ROOMY: u16 = 70;
/// Rows of the likely cause, and of its check, at most.
const MOST_REASONS: usize = 2;
const MOST_CHECK: usize = 5;
/// Rows of a useful spectrum with its scale.
const LEAST_SPECTRUM: u16 = 4;
const MOST_SPECTRUM: u16 = 9;
/// Columns of the scale at its left.
const LABELS: u16 = 7;
/// Rates below the spectrum.
const TICKS_HZ: [f64; 7] = [0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0];
/// Windows of a course that are shown, and lines of it.
const COURSE_WINDOWS: usize = 8;
const COURSES: usize = 3;

/// Rows of each part of the page.
#[derive(Default)]
struct Plan {
    lines: u16,
    cause: u16,
    spectrum: u16,
    course: u16,
    channels: u16,
}

/// Draws the whole page.
pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let Some(lines) = &state.wavering.lines else {
        draw_nothing(state, pen);
        return;
    };
    draw_head(state, lines, pen);
    let cause = cause_rows(state, lines, pen);
    let channels = channel_words(state, pen.width());
    let plan = Plan::of(lines, &cause, channels.as_ref(), pen);
    let mut y = 1;
    draw_lines(state, lines, (y, plan.lines), pen);
    y += plan.lines;
    for (nth, row) in (0u16..).zip(cause.iter().take(usize::from(plan.cause))) {
        let style = if nth == 0 {
            look.strong()
        } else {
            Style::new()
        };
        pen.text(0, y + nth, row, style);
    }
    y += plan.cause;
    draw_spectrum(state, lines, (y, plan.spectrum), pen);
    y += plan.spectrum;
    if plan.course > 0 {
        pen.text(0, y, &course_words(state, lines), look.faint());
    }
    y += plan.course;
    if let Some(words) = channels.filter(|_| plan.channels > 0) {
        pen.text(0, y, &words, Style::new());
    }
}

impl Plan {
    /// What is missed most comes first.
    fn of(lines: &FlutterLines, cause: &[String], channels: Option<&String>, pen: &Pen) -> Self {
        let count = lines.lines.len() as u16;
        let mut left = pen.height().saturating_sub(1);
        let mut take = |wanted: u16, least: u16| {
            let rows = if left >= least { wanted.min(left) } else { 0 };
            left -= rows;
            rows
        };
        let mut plan = Self {
            lines: take(1, 1),
            cause: take(cause.len() as u16, 1),
            ..Self::default()
        };
        plan.lines += take(count.saturating_sub(1).min(4), 1);
        plan.channels = take(u16::from(channels.is_some()), 1);
        plan.course = take(u16::from(has_course(lines)), 1);
        plan.spectrum = take(MOST_SPECTRUM, LEAST_SPECTRUM);
        plan.lines += take(count.saturating_sub(plan.lines), 1);
        plan
    }
}

fn draw_nothing(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    pen.text(0, 0, "what wavers", look.strong());
    let why = if state.conditions.kind != ReferenceKind::Tone {
        "Only a tone shows the lines in the flutter: 0 chooses one."
    } else if !state.is_live() {
        "No samples come in, so no lines."
    } else if state.reading().is_none_or(|it| it.speed.is_none()) {
        "No tone, so no lines: play the tape."
    } else {
        "Too short yet: lines need some ten seconds at a speed that is left alone."
    };
    let mut texts = vec![why.to_owned()];
    texts.extend(channel_words(state, pen.width()));
    pen.texts(1, &texts, Style::new());
}

fn draw_head(state: &ScreenState, lines: &FlutterLines, pen: &mut Pen) {
    let look = state.look;
    let what = if lines.lines.is_empty() {
        none(lines)
    } else {
        head(lines)
    };
    let card = state.card_in_force();
    let card = card.map_or(no_card(state).to_owned(), |it| {
        format!("parts: {}", it.name)
    });
    let text = if pen.width() >= ROOMY {
        format!("what wavers, last {:.0} s: {what}", lines.seen.0)
    } else {
        what
    };
    let room = pen.width().saturating_sub(width(&text) + 2);
    pen.text(0, 0, &text, look.strong());
    if width(&card) <= room {
        pen.right(0, &card, look.faint());
    }
}

/// Why the lines are held against no card.
fn no_card(state: &ScreenState) -> &'static str {
    if state.parts.is_some() {
        "the card is for another speed"
    } else {
        "7 takes a parts card"
    }
}

/// Which lines are shown in so few rows: the marked one among them.
fn shown(state: &ScreenState, count: usize, rows: usize) -> std::ops::Range<usize> {
    let first = (state.wavering.marked + 1).saturating_sub(rows).min(count);
    first..(first + rows).min(count)
}

fn draw_lines(state: &ScreenState, lines: &FlutterLines, (top, rows): (u16, u16), pen: &mut Pen) {
    let look = state.look;
    if lines.lines.is_empty() {
        pen.text(0, top, "nothing regular in the flutter", Style::new());
        return;
    }
    let shown = shown(state, lines.lines.len(), usize::from(rows));
    for (y, nth) in (top..).zip(shown) {
        let line = &lines.lines[nth];
        let is_marked = nth == state.wavering.marked;
        let style = if !state.is_live() {
            look.faint()
        } else if is_marked {
            look.strong()
        } else {
            Style::new()
        };
        if is_marked {
            pen.text(0, y, ">", look.accent());
        }
        draw_line(state, (lines, line), (y, y == top), style, pen);
    }
}

fn draw_line(
    state: &ScreenState,
    (lines, line): (&FlutterLines, &FlutterLine),
    (y, is_first): (u16, bool),
    style: Style,
    pen: &mut Pen,
) {
    let is_roomy = pen.width() >= ROOMY;
    let figure = short_rate(line);
    let mut x = 1 + RATE.saturating_sub(width(&figure));
    x = pen.text(x, y, &figure, style);
    if is_first {
        pen.text(x, y, if is_roomy { " a second" } else { "/s" }, style);
    }
    x += if is_roomy { 11 } else { 3 };
    let mut amplitude = format!("{:.3} %", line.peak.0);
    if is_roomy {
        let around = rounded_up_to(line.peak_uncertainty.0, 3);
        amplitude = format!("{amplitude} {}{around}", state.look.plus_minus());
    }
    pen.text(x, y, &amplitude, style);
    x += if is_roomy { PEAK } else { 8 };
    let share = format!("{:.0} %", 100.0 * line.weighted_share);
    pen.text(
        x + SHARE.saturating_sub(width(&share) + 1),
        y,
        &share,
        style,
    );
    x += SHARE + 1;
    let usual = no_fault(lines, line, state.tolerance);
    let mut who = in_a_row(short(lines, line), pen.width().saturating_sub(x));
    for more in [usual.as_deref(), course(line)].into_iter().flatten() {
        if x + width(&who) + 2 + width(more) <= pen.width() {
            who = format!("{who}, {more}");
        }
    }
    pen.text(x, y, &who, style);
}

/// What is not certain stays so where a row is too narrow for all of it.
fn in_a_row(who: String, room: u16) -> String {
    if width(&who) <= room || !who.ends_with('?') {
        return who;
    }
    let begun = fitting(&who, room.saturating_sub(1), 1).concat();
    begun.trim_end_matches(" or").to_owned() + "?"
}

/// The likeliest cause with its reasons, and below it what to check first: whole
/// with its cautions, or not here.
fn cause_rows(state: &ScreenState, lines: &FlutterLines, pen: &Pen) -> Vec<String> {
    let (room, height) = (pen.width(), usize::from(pen.height()));
    let found = state.likely_faults();
    let Some(first) = found.first() else {
        return vec![faults::NOTHING.to_owned()];
    };
    let why = faults::reasons(first, Some(lines));
    let mut rows = fitting(&format!("{} ({why}).", headline(first)), room, MOST_REASONS);
    let check = wrap(&faults::check(first), room);
    // Below the head and the first line.
    let is_room = rows.len() + check.len() + 2 <= height;
    if room >= ROOMY && check.len() <= MOST_CHECK && is_room {
        rows.extend(check);
    } else {
        rows.push("8: what to check first, and with what care".to_owned());
    }
    rows
}

/// Amplitude upwards, rate to the right, even in its logarithm.
fn draw_spectrum(
    state: &ScreenState,
    lines: &FlutterLines,
    (top, rows): (u16, u16),
    pen: &mut Pen,
) {
    let look = state.look;
    let columns = pen.width().saturating_sub(LABELS + 1);
    if rows < 2 || columns < 20 || lines.spectrum.is_empty() {
        return;
    }
    let picture = rows - 1;
    let largest = lines.spectrum.iter().copied().fold(0.0, f32::max);
    if largest <= 0.0 {
        return;
    }
    let mut canvas = Canvas::new(usize::from(columns), usize::from(picture), look.unicode);
    let levels = (canvas.levels() - 1) as f32;
    let dots = usize::from(columns) * if look.unicode { 2 } else { 1 };
    let cells = lines.spectrum.len();
    for x in 0..dots {
        let [from, to] = [x, x + 1].map(|x| x * cells / dots);
        let within = &lines.spectrum[from..to.max(from + 1).min(cells)];
        let highest = within.iter().copied().fold(0.0, f32::max);
        let level = (highest / largest * levels).round() as usize;
        canvas.join(x, 0, level);
    }
    for (y, row) in (top..).zip(canvas.lines()) {
        pen.text(LABELS, y, "│", look.faint());
        pen.text(LABELS + 1, y, &row, look.accent());
    }
    pen.text(0, top, &format!("{largest:>5.3}%"), look.faint());
    let span = (SPECTRUM_HZ[1] / SPECTRUM_HZ[0]).ln();
    for hz in TICKS_HZ {
        let part = (hz / SPECTRUM_HZ[0]).ln() / span;
        let x = LABELS + 1 + (part * f64::from(columns)) as u16;
        pen.text(x, top + picture, &format!("{hz}"), look.faint());
    }
    pen.right(top + picture, "Hz", look.faint());
}

/// A rate to three digits: a row tells which line it is.
fn short_rate(line: &FlutterLine) -> String {
    let decimals = if line.hz.0 < 10.0 { 2 } else { 1 };
    format!("{:.decimals$}", line.hz.0)
}

fn has_course(lines: &FlutterLines) -> bool {
    lines.lines.iter().any(|line| line.windows.len() > 1)
}

/// The strongest lines over the last minutes, a bar a window.
fn course_words(state: &ScreenState, lines: &FlutterLines) -> String {
    let bars: Vec<char> = if state.look.unicode {
        "▁▂▃▄▅▆▇█".chars().collect()
    } else {
        "_.-=+*#@".chars().collect()
    };
    let with_course = lines.lines.iter().filter(|line| line.windows.len() > 1);
    let largest = |line: &FlutterLine| line.windows.iter().map(|it| it.peak.0).fold(0.0, f64::max);
    let each = with_course.take(COURSES).map(|line| {
        let most = largest(line).max(1e-6);
        let newest = line.windows.len().saturating_sub(COURSE_WINDOWS);
        let heights = line.windows[newest..].iter().map(|it| {
            let step = (it.peak.0 / most * (bars.len() - 1) as f64).round() as usize;
            bars[step.min(bars.len() - 1)]
        });
        format!("{} {}", short_rate(line), heights.collect::<String>())
    });
    let each: Vec<String> = each.collect();
    let minutes = lines.lines.iter().filter_map(|line| {
        let [first, last] = [line.windows.first()?, line.windows.last()?];
        Some((last.at.0 - first.at.0) / 60.0)
    });
    let longest = minutes.fold(0.0, f64::max);
    format!("over {longest:.1} min: {}", each.join("   "))
}

/// Balance and the time between the channels, now and of the stretch.
fn channel_words(state: &ScreenState, room: u16) -> Option<String> {
    let reading = state.reading()?;
    let told = reading.channels.as_ref()?;
    let now = reading.channels_now.as_ref();
    if room < ROOMY {
        let now = now.map_or_else(String::new, |now| format!(", now {}", later(now)));
        let balance = signed(told.balance.0, 1);
        return Some(format!("L/R {balance} dB, {} µs later{now}", later(told)));
    }
    let mut words = format!("{}, {}", channels::balance(told), channels::lag(told));
    if let Some(now) = now {
        words = format!("{words}; last second {}", later(now));
    }
    Some(words.replace('±', state.look.plus_minus()))
}

/// Which channel comes later, and by how many microseconds.
fn later(told: &TwoChannels) -> String {
    format!("{} {:.1}", channels::later(told), told.right_lags_us.abs())
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::references::parts::PartsCard;
    use crate::report::invented;
    use crate::screen::specimen::{self, text};
    use crate::screen::state::Effect;
    use crate::screen::state::action::Action;

    const CARD: &str = "parts_card = 1\nname = \"bench deck\"\n[[part]]\nname = \"capstan\"\n\
        turns_per_second = 7.6\ntolerance_percent = 1.5\nharmonics = [1, 2]\n\
        also = [\"flywheel\"]\nnormal_percent = 0.02\n[[part]]\nname = \"motor\"\n\
        turns_per_second = 33.5\ntolerance_percent = 2\nnormal_percent = 0.05\n";

    fn showing(lines: Option<FlutterLines>) -> ScreenState {
        let mut reading = specimen::reading(-1.2);
        reading.lines = lines.map(Arc::new);
        reading.channels = Some(invented::channels());
        reading.channels_now = Some(invented::channels());
        let mut state = specimen::showing(specimen::reading(-1.2));
        state.parts = Some(PartsCard::from_toml(CARD).unwrap());
        let _ = state.take(specimen::live(7, reading));
        let _ = state.act(Action::Lines);
        state
    }

    #[test]
    fn the_strongest_line_its_part_and_the_check_stand_on_the_smallest_screen() {
        let state = showing(Some(specimen::lines()));
        for size in [(50, 14), (80, 24), (120, 40)] {
            let text = text(&state, size);
            println!("{text}");
            for part in ["7.51", "0.162 %", "62 %", "capstan", "likely"] {
                let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
                assert!(
                    words.to_lowercase().contains(&part.to_lowercase()),
                    "{part}: {text}"
                );
            }
        }
        let text = text(&state, (80, 24));
        for part in [
            "capstan, twice a turn",
            "33.3",
            "motor",
            "usual up to",
            "bench deck",
            "3.2",
        ] {
            assert!(text.contains(part), "{part}: {text}");
        }
    }

    #[test]
    fn a_doubtful_part_keeps_its_question_mark_in_the_narrowest_window() {
        let one = |name: &str, turns: f64| {
            format!(
                "[[part]]\nname = \"{name}\"\nturns_per_second = {turns}\ntolerance_percent = 2\n"
            )
        };
        for parts in [
            ["supply reel table", "take-up reel table"],
            ["idler", "an old rubber belt"],
        ] {
            let card = one(parts[0], 7.59) + &one(parts[1], 7.61);
            let card = format!("parts_card = 1\nname = \"bench deck\"\n{card}");
            let mut state = showing(Some(specimen::lines()));
            state.parts = Some(PartsCard::from_toml(&card).unwrap());
            state.hold_against_parts();
            for size in [(50, 14), (60, 20), (120, 40)] {
                let text = text(&state, size);
                let row = text.lines().find(|row| row.contains("7.51")).unwrap();
                let is_named = parts.iter().any(|part| row.contains(part));
                assert!(is_named && row.contains('?'), "{text}");
            }
        }
    }

    #[test]
    fn a_check_never_stands_without_its_cautions() {
        for size in [(50, 14), (60, 20), (80, 24), (120, 40)] {
            let mut state = showing(Some(specimen::lines()));
            let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
            let page = words(&text(&state, size));
            assert_eq!(
                page.contains("First:"),
                page.contains("Keep hair"),
                "{page}"
            );
            assert!(
                page.contains("First:") || page.contains("8: what to check"),
                "{page}"
            );
            state.size = size;
            let mut all = String::new();
            let _ = state.act(Action::Causes);
            for _ in 0..crate::screen::panels::causes::pages(&state) {
                all += &text(&state, size);
                let _ = state.act(Action::PageOn);
            }
            println!("{all}");
            let all = words(&all);
            for part in [
                "First:",
                "Keep hair",
                "another tape",
                "20 log |cos",
                "317.5",
            ] {
                assert!(all.contains(part), "{part}: {all}");
            }
        }
    }

    #[test]
    fn without_lines_it_says_why() {
        assert!(text(&showing(None), (80, 24)).contains("Too short yet"));
        let mut none = specimen::lines();
        none.lines.clear();
        let text = text(&showing(Some(none)), (80, 24));
        assert!(text.contains("no line above 0.003"), "{text}");
    }

    #[test]
    fn the_mark_stays_at_its_line_and_in_sight() {
        let mut state = showing(Some(specimen::lines()));
        for _ in 0..3 {
            let _ = state.act(Action::MarkNextLine);
        }
        assert!((state.marked_line().unwrap().hz.0 - 33.3).abs() < 1e-9);
        assert!(text(&state, (50, 14)).contains("33.3"));
        let mut newer = specimen::lines();
        newer.lines.swap(0, 3);
        newer.lines[0].hz.0 = 33.4;
        let mut reading = specimen::reading(-1.2);
        reading.lines = Some(Arc::new(newer));
        let _ = state.take(specimen::live(8, reading));
        assert!((state.marked_line().unwrap().hz.0 - 33.4).abs() < 1e-9);
    }

    fn named(state: &mut ScreenState, name: &str) -> Vec<Effect> {
        state.machine = Some("bench deck".to_owned());
        let _ = state.act(Action::NameLine);
        let _ = state.act(Action::EraseAll);
        for letter in name.chars() {
            let _ = state.act(Action::Letter(letter));
        }
        state.act(Action::Accept)
    }

    #[test]
    fn a_part_is_learnt_from_the_line_that_was_marked_when_it_was_asked() {
        let mut state = showing(Some(specimen::lines()));
        let _ = state.act(Action::MarkNextLine);
        let _ = state.act(Action::MarkNextLine);
        let effects = named(&mut state, "take-up reel");
        let [Effect::Learn(lesson)] = &effects[..] else {
            panic!("{effects:?}");
        };
        assert!((lesson.line.hz.0 - 0.47).abs() < 1e-9);
        // It is gone while the name is typed.
        state.machine = Some("bench deck".to_owned());
        let _ = state.act(Action::NameLine);
        let mut newer = specimen::lines();
        newer.lines.remove(2);
        let mut reading = specimen::reading(-1.2);
        reading.lines = Some(Arc::new(newer));
        let _ = state.take(specimen::live(8, reading));
        let _ = state.act(Action::Letter('x'));
        assert!(state.act(Action::Accept).is_empty());
        assert!(state.message.as_deref().unwrap().contains("0.47"));
    }

    #[test]
    fn a_known_rate_is_replaced_only_when_it_is_said_twice() {
        let mut state = showing(Some(specimen::lines()));
        assert!(named(&mut state, "capstan").is_empty());
        assert!(state.message.as_deref().unwrap().contains("7.600"));
        let effects = state.act(Action::Accept);
        assert!(matches!(&effects[..], [Effect::Learn(lesson)] if lesson.harmonic == 1));
        let effects = named(&mut state, "idler x2");
        assert!(
            matches!(&effects[..], [Effect::Learn(lesson)] if lesson.harmonic == 2 && lesson.part == "idler")
        );
    }

    #[test]
    fn the_card_of_the_machine_before_is_put_away_and_a_chosen_one_stays() {
        let mut state = showing(Some(specimen::lines()));
        state.machine = Some("bench deck".to_owned());
        let before = state.machine.replace("deck 2".to_owned());
        state.follow_machine_parts(before.as_deref());
        assert_eq!(state.parts, None);
        let _ = state.act(Action::NextPartsCard);
        let chosen = state.parts.clone().unwrap();
        let before = state.machine.replace("deck 3".to_owned());
        state.follow_machine_parts(before.as_deref());
        assert_eq!(state.parts, Some(chosen));
        // Round all cards to none.
        let mut rounds = 0;
        while state.parts.is_some() {
            let _ = state.act(Action::NextPartsCard);
            rounds += 1;
            assert!(rounds < 50);
        }
    }

    #[test]
    fn causes_are_judged_as_things_stand() {
        let mut state = showing(None);
        let _ = state.act(Action::Causes);
        assert!(text(&state, (80, 24)).contains("not judged yet"));
        let _ = state.act(Action::Uncover);
        let has = |state: &ScreenState| {
            let faults = state.likely_faults();
            faults
                .iter()
                .any(|it| it.check.contains("turn the trimmer"))
        };
        let before = has(&state);
        let _ = state.act(Action::NoTrimmer);
        assert!(!has(&state), "{before}");
    }
}
