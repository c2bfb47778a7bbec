//! Lines of flutter in words. A rate is all that most lines tell, and parts that
//! are on no card, or a line that was recorded on the tape, may have the same:
//! nothing here sounds surer than that.

use super::numbers::{rounded_up, with_uncertainty};
use super::words::counted;
use crate::readings::{FlutterLine, FlutterLines, LikelyPart, LineCourse, LineMotion};
use crate::references::Tolerance;
use crate::references::evidence::{is_unusual, usual};
use crate::references::parts::{Naming, Part, PartsCard};
use crate::units::Percent;

/// More names than that are no help.
const MOST_NAMES: usize = 3;

/// What a line may come from, in a few words: "capstan, twice a turn", "pinch
/// roller or idler?".
pub fn short(lines: &FlutterLines, line: &FlutterLine) -> String {
    match Naming::of(lines, line) {
        Naming::Mains(_) => "mains ripple".to_owned(),
        Naming::MainsPerhaps(_) => "mains ripple?".to_owned(),
        Naming::KeepsRate => "keeps its rate".to_owned(),
        Naming::Part(part) => part_words(part),
        Naming::Perhaps(parts) => format!("{}?", names(&parts)),
        Naming::NotOnCard => "not on the card".to_owned(),
        Naming::NoCard => "which part?".to_owned(),
    }
}

/// The same in a sentence's part that says how it is known.
pub fn long(lines: &FlutterLines, line: &FlutterLine, card: Option<&PartsCard>) -> String {
    match Naming::of(lines, line) {
        Naming::Mains(hz) => format!(
            "likely ripple of the mains ({:.0} a second): it stays when the speed is trimmed",
            hz.0
        ),
        Naming::MainsPerhaps(hz) => format!(
            "likely ripple of the mains ({:.0} a second): then it stays when the speed is trimmed",
            hz.0
        ),
        Naming::KeepsRate => {
            "no part of the transport: it stays when the speed is trimmed".to_owned()
        }
        Naming::Part(part) => format!("likely {}{}", with_shaft(part, card), by(line, part, card)),
        Naming::Perhaps(parts) => format!("likely {}", names(&parts)),
        Naming::NotOnCard => "not on the parts card".to_owned(),
        Naming::NoCard => "which part? A parts card says (--parts)".to_owned(),
    }
}

/// What speaks for a part beside its rate.
fn by(line: &FlutterLine, part: &LikelyPart, card: Option<&PartsCard>) -> &'static str {
    let is_reel = card.and_then(|card| card.part(&part.name)?.reel).is_some();
    match line.chirp {
        Some(_) if is_reel => ", by its rate and how that moves",
        _ if line.motion == LineMotion::Turns => ", by its rate, which follows the speed",
        _ => ", by its rate alone",
    }
}

/// "capstan, twice a turn".
fn part_words(part: &LikelyPart) -> String {
    part.name.clone() + &how_often(part.harmonic)
}

fn how_often(harmonic: u32) -> String {
    match harmonic {
        1 => String::new(),
        2 => ", twice a turn".to_owned(),
        more => format!(", {more} times a turn"),
    }
}

/// The part with what sits on its shaft.
fn with_shaft(part: &LikelyPart, card: Option<&PartsCard>) -> String {
    let also = card
        .and_then(|card| card.part(&part.name))
        .map_or(&[][..], |it| &it.also);
    let shaft = if also.is_empty() {
        String::new()
    } else {
        format!(" (or {} on its shaft)", also.join(", "))
    };
    format!("{}{shaft}{}", part.name, how_often(part.harmonic))
}

fn names(parts: &[&LikelyPart]) -> String {
    let words: Vec<String> = parts.iter().map(|it| part_words(it)).collect();
    match &words[..] {
        [] => String::new(),
        [one] => one.clone(),
        all if all.len() > MOST_NAMES => {
            format!("{}, or one of {} more", all[0], all.len() - 1)
        }
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

/// How a line is known from what else it may be: what to do next. `None` where
/// nothing has to be told apart.
pub fn told_apart(
    lines: &FlutterLines,
    line: &FlutterLine,
    card: Option<&PartsCard>,
) -> Option<String> {
    let on_card = |it: &LikelyPart| card.and_then(|card| card.part(&it.name));
    let said = match Naming::of(lines, line) {
        Naming::Perhaps(parts) => match parts.as_slice() {
            [one, other, ..] => apart(on_card(one), on_card(other), [&one.name, &other.name]),
            _ => COUNT.to_owned(),
        },
        Naming::NotOnCard => ANOTHER_TAPE.to_owned(),
        Naming::MainsPerhaps(_) => {
            "trim the speed by half a percent and look again: ripple stays where it is, a part \
             goes along"
                .to_owned()
        }
        Naming::Mains(_) | Naming::KeepsRate | Naming::Part(_) | Naming::NoCard => return None,
    };
    Some(said)
}

/// A line that was recorded scales with the speed as a part does.
pub const ANOTHER_TAPE: &str = "try another tape: a line that was recorded on this one goes with \
    it, though it follows the speed as a part does; what stays is a part that the card lacks";

const COUNT: &str =
    "with the power off mark one with chalk, then count its turns by eye for half a minute";

fn apart(one: Option<&Part>, other: Option<&Part>, names: [&str; 2]) -> String {
    let [one, other] = match (one, other) {
        (Some(one), Some(other)) => [one, other],
        _ => return COUNT.to_owned(),
    };
    let drives = |driver: &Part, driven: &Part| driven.driven_by.as_ref() == Some(&driver.name);
    if one.reel.is_some() && other.reel.is_some() {
        "a minute more tells: the take-up reel slows as it fills, the supply reel quickens"
            .to_owned()
    } else if one.reel.is_some() || other.reel.is_some() {
        "another place of the tape tells: a reel's rate moves with the pack, the other's does not"
            .to_owned()
    } else if drives(one, other) || drives(other, one) {
        let [one, other] = names;
        format!(
            "one drives the other ({one}, {other}): with the power off take the drive between \
             them away, and look which line is left"
        )
    } else {
        COUNT.to_owned()
    }
}

/// Rate, amplitude and share: "6.08 turns a second, 0.062 % ±0.002 %, 48 % of
/// the flutter".
pub fn figures(line: &FlutterLine) -> String {
    format!(
        "{} turns a second, {}, {:.0} % of the flutter",
        rate(line),
        peak(line),
        100.0 * line.weighted_share
    )
}

/// A rate to the places that its ± deserves.
pub fn rate(line: &FlutterLine) -> String {
    let text = with_uncertainty(line.hz.0, Some(line.hz_uncertainty.0.max(0.002)), false);
    text.split(' ').next().unwrap_or_default().to_owned()
}

/// "0.062 % ±0.002 %".
pub fn peak(line: &FlutterLine) -> String {
    let around = line.peak_uncertainty.0;
    let text = with_uncertainty(line.peak.0, Some(around), false);
    let value = text.split(' ').next().unwrap_or_default();
    format!("{value} % ±{} %", rounded_up(around))
}

/// How a line went, where that can be said.
pub fn course(line: &FlutterLine) -> Option<&'static str> {
    Some(match line.course? {
        LineCourse::Steady => "steady",
        LineCourse::Growing => "growing",
        LineCourse::Fading => "fading",
        LineCourse::ComesAndGoes => "comes and goes",
    })
}

/// "usual up to 0.05 %": a line that is no fault by itself.
pub fn no_fault(lines: &FlutterLines, line: &FlutterLine, tolerance: Tolerance) -> Option<String> {
    let naming = Naming::of(lines, line);
    let part = naming.parts().first().copied();
    let Percent(most) = usual(part, tolerance);
    (!is_unusual(line, part, tolerance)).then(|| format!("usual up to {most} %"))
}

/// "5 lines make 81 % of the flutter".
pub fn head(lines: &FlutterLines) -> String {
    let share: f64 = lines.lines.iter().map(|it| it.weighted_share).sum();
    let count = lines.lines.len();
    let make = if count == 1 { "makes" } else { "make" };
    let counted = counted(count as u64, "line", "lines");
    format!(
        "{counted} {make} {:.0} % of the flutter",
        100.0 * share.min(1.0)
    )
}

/// What is said where none was found: up to what there may be one all the same.
pub fn none(lines: &FlutterLines) -> String {
    let [one, ten, hundred] = lines.smallest;
    let said = [(ten, 10), (one, 1), (hundred, 100)];
    let found = said.into_iter().find_map(|(it, at)| Some((it?, at)));
    match found {
        Some((Percent(smallest), at)) => format!(
            "no line above {} % (at {at} turns a second)",
            rounded_up(smallest)
        ),
        None => "no line".to_owned(),
    }
}

/// Lines that are told one by one in a text; scripts have them all.
const MOST_TOLD: usize = 5;

/// Each line in a sentence's part, strongest first, and how many more there
/// are.
pub fn each(lines: &FlutterLines, card: Option<&PartsCard>, tolerance: Tolerance) -> Vec<String> {
    if lines.lines.is_empty() {
        return vec![none(lines)];
    }
    let told = lines.lines.iter().take(MOST_TOLD);
    let mut texts: Vec<String> = told
        .map(|line| {
            let mut text = format!("{}: {}", figures(line), long(lines, line, card));
            let after = [
                course(line).map(str::to_owned),
                slope(line),
                no_fault(lines, line, tolerance),
                told_apart(lines, line, card),
            ];
            for said in after.into_iter().flatten() {
                text.push_str("; ");
                text.push_str(&said);
            }
            text
        })
        .collect();
    let more = lines.lines.len().saturating_sub(MOST_TOLD);
    texts.extend((more > 0).then(|| format!("and {}", counted(more as u64, "more", "more"))));
    texts
}

/// "slows 3.1 % a minute".
fn slope(line: &FlutterLine) -> Option<String> {
    let slope = line.chirp?.percent_per_minute;
    let way = if slope < 0.0 { "slows" } else { "quickens" };
    Some(format!("{way} {:.1} % a minute", slope.abs()))
}
