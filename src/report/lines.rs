//! Lines of flutter in words. A rate is all that most lines tell, and parts that
//! are on no card, or a line that was recorded on the tape, may have the same:
//! nothing here sounds surer than that.

use super::numbers::{rounded_up, with_uncertainty};
use super::words::counted;
use crate::readings::{FlutterLine, FlutterLines, LikelyPart, LineCourse, LineMotion};
use crate::references::Tolerance;
use crate::references::evidence::{is_unusual, usual};
use crate::references::faults::caution;
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
        Naming::Perhaps(parts) if parts.len() == 1 => format!("perhaps {}", names(&parts)),
        Naming::Perhaps(parts) => format!("likely {}", names(&parts)),
        Naming::NotOnCard => "not on the parts card".to_owned(),
        Naming::NoCard => "no parts card to look at".to_owned(),
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
        Naming::Perhaps(parts) => {
            let slowest = parts.iter().map(|it| line.hz.0 / f64::from(it.harmonic));
            let slowest = slowest.fold(f64::INFINITY, f64::min);
            let by_eye = if slowest < COUNTED { COUNT } else { TOO_FAST };
            let both = match parts.as_slice() {
                [one, other, ..] => on_card(one).zip(on_card(other)),
                _ => None,
            };
            let said = both.and_then(|(one, other)| apart(one, other));
            said.unwrap_or(by_eye)
        }
        Naming::NotOnCard => ANOTHER_TAPE,
        Naming::MainsPerhaps(_) => TRIM,
        Naming::Mains(_) | Naming::KeepsRate | Naming::Part(_) | Naming::NoCard => return None,
    };
    Some(said.words())
}

/// A deed that tells lines apart, with the names of its cautions.
struct Deed(&'static str, &'static [&'static str]);

impl Deed {
    /// The deed with what to mind, as a part of a sentence.
    fn words(&self) -> String {
        let Self(deed, cautions) = self;
        let mut text = (*deed).to_owned();
        for name in *cautions {
            // Each is a sentence; whoever says the whole ends it.
            text = format!("{text}. {}", caution(name).trim_end_matches('.'));
        }
        text
    }
}

/// A line that was recorded scales with the speed as a part does.
const ANOTHER_TAPE: Deed = Deed(
    "try another tape: a line that was recorded on this one goes with it, though it follows the \
     speed as a part does; what stays is a part that the card lacks",
    &[],
);

const TRIM: Deed = Deed(
    "trim the speed by half a percent and look again: ripple stays where it is, a part goes along",
    &["mains", "mark"],
);

/// Turns a second that an eye can count (common practice, no source).
const COUNTED: f64 = 4.0;

const COUNT: Deed = Deed(
    "with the power off mark one part with chalk, then count its turns by eye for half a minute",
    &["mains", "moving"],
);

const TOO_FAST: Deed = Deed(
    "too fast to count by eye: with the power off take the drive of one part away, then look which \
     line is left",
    &["mains", "moving"],
);

const BOTH_REELS: Deed = Deed(
    "a minute more tells: the take-up reel slows as it fills, the supply reel quickens",
    &[],
);

const ONE_REEL: Deed = Deed(
    "another place of the tape tells: a reel's rate moves with the pack, the other's does not",
    &[],
);

const ONE_DRIVES: Deed = Deed(
    "one drives the other: with the power off take the drive between them away, then look which \
     line is left",
    &["mains", "moving"],
);

fn apart(one: &Part, other: &Part) -> Option<Deed> {
    let drives = |driver: &Part, driven: &Part| driven.driven_by.as_ref() == Some(&driver.name);
    if one.reel.is_some() && other.reel.is_some() {
        Some(BOTH_REELS)
    } else if one.reel.is_some() || other.reel.is_some() {
        Some(ONE_REEL)
    } else if drives(one, other) || drives(other, one) {
        Some(ONE_DRIVES)
    } else {
        None
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

/// A rate to four digits at most, fewer where its ± deserves no more.
pub fn rate(line: &FlutterLine) -> String {
    let step = line.hz_uncertainty.0.max(1e-3 * line.hz.0);
    let decimals = (-step.log10().floor()).clamp(0.0, 4.0) as usize;
    format!("{:.decimals$}", line.hz.0)
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
    let parts = || naming.parts().iter().copied();
    let Percent(most) = usual(parts(), tolerance);
    (!is_unusual(line, parts(), tolerance)).then(|| format!("usual up to {most} %"))
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
            let usual = no_fault(lines, line, tolerance);
            // What is no fault need not be told apart.
            let apart = usual.is_none().then(|| told_apart(lines, line, card));
            let course = course(line).map(str::to_owned);
            let after = [course, slope(line), usual, apart.flatten()];
            for said in after.into_iter().flatten() {
                text.push_str("; ");
                text.push_str(&said);
            }
            text
        })
        .collect();
    let more = lines.lines.len().saturating_sub(MOST_TOLD);
    texts.extend(
        (more > 0).then(|| format!("and {}", counted(more as u64, "weaker one", "weaker ones"))),
    );
    texts
}

/// "slows 3.1 % a minute".
fn slope(line: &FlutterLine) -> Option<String> {
    let slope = line.chirp?.percent_per_minute;
    let way = if slope < 0.0 { "slows" } else { "quickens" };
    Some(format!("{way} {:.1} % a minute", slope.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Chirp;
    use crate::references::faults::{CAUTIONS_NEEDED, caution as caution_of};
    use crate::references::parts::hand_made::{line, together};
    use crate::units::Hertz;

    fn with_parts(mut line: FlutterLine, parts: &[(&str, u32, f64)]) -> FlutterLines {
        line.parts = parts
            .iter()
            .map(|(name, harmonic, likelihood)| LikelyPart {
                name: (*name).to_owned(),
                harmonic: *harmonic,
                likelihood: *likelihood,
                usual: Some(Percent(0.02)),
            })
            .collect();
        let mut lines = together(vec![line]);
        lines.card = Some("bench".to_owned());
        lines
    }

    fn said(lines: &FlutterLines) -> (String, String) {
        let line = &lines.lines[0];
        (
            short(lines, line),
            each(lines, None, Tolerance::default()).join("\n"),
        )
    }

    #[test]
    fn nothing_that_rests_on_a_rate_sounds_sure() {
        let (short, long) = said(&with_parts(line(6.0, 0.06), &[("capstan", 1, 0.95)]));
        assert_eq!(short, "capstan");
        assert!(long.contains("likely capstan, by its rate alone"), "{long}");
        let (short, long) = said(&with_parts(line(12.0, 0.06), &[("capstan", 2, 0.6)]));
        assert_eq!(short, "capstan, twice a turn?");
        assert!(long.contains("perhaps capstan, twice a turn"), "{long}");
        let (short, long) = said(&with_parts(
            line(1.3, 0.06),
            &[("pinch roller", 1, 0.5), ("idler", 1, 0.4)],
        ));
        assert_eq!(short, "pinch roller or idler?");
        assert!(long.contains("count its turns by eye"), "{long}");
        let (short, long) = said(&with_parts(line(3.3, 0.06), &[("belt", 1, 0.3)]));
        assert_eq!(short, "not on the card");
        assert!(long.contains("another tape"), "{long}");
    }

    #[test]
    fn what_is_too_fast_for_an_eye_is_not_to_be_counted() {
        let fast = with_parts(line(40.0, 0.06), &[("motor", 1, 0.5), ("fan", 1, 0.4)]);
        let (_, long) = said(&fast);
        assert!(long.contains("too fast to count"), "{long}");
        // Twice a turn of something slow is no fast part.
        let slow = with_parts(line(6.0, 0.06), &[("belt", 2, 0.5), ("idler", 3, 0.4)]);
        assert!(said(&slow).1.contains("count its turns"));
    }

    #[test]
    fn a_line_that_is_usual_is_said_to_be_no_fault() {
        let (_, small) = said(&with_parts(line(40.0, 0.015), &[("motor", 1, 0.95)]));
        assert!(small.contains("usual up to 0.02 %"), "{small}");
        let (_, large) = said(&with_parts(line(40.0, 0.06), &[("motor", 1, 0.95)]));
        assert!(!large.contains("usual"), "{large}");
    }

    #[test]
    fn the_mains_are_named_without_a_card_and_asked_for_before_a_trim() {
        let mut ripple = line(100.0, 0.06);
        ripple.hz = Hertz(100.01);
        let lines = together(vec![ripple.clone()]);
        assert_eq!(said(&lines).0, "mains ripple?");
        assert!(said(&lines).1.contains("trim the speed by half a percent"));
        ripple.motion = LineMotion::KeepsRate;
        let lines = together(vec![ripple]);
        assert_eq!(said(&lines).0, "mains ripple");
    }

    #[test]
    fn rates_and_slopes_have_the_digits_that_they_deserve() {
        for (hz, around, shown) in [
            (5.987_275, 0.000_2, "5.987"),
            (100.000_02, 0.001, "100.0"),
            (0.470_31, 0.004, "0.470"),
            (0.470_31, 0.02, "0.47"),
        ] {
            let mut line = line(hz, 0.05);
            line.hz_uncertainty = Hertz(around);
            assert_eq!(rate(&line), shown);
        }
        let mut reel = line(0.5, 0.05);
        reel.chirp = Some(Chirp {
            percent_per_minute: -3.12,
            uncertainty_percent_per_minute: 1.0,
        });
        assert_eq!(slope(&reel).as_deref(), Some("slows 3.1 % a minute"));
    }

    #[test]
    fn where_there_is_none_it_is_said_up_to_what() {
        let lines = together(Vec::new());
        assert_eq!(
            none(&lines),
            "no line above 0.0040 % (at 10 turns a second)"
        );
        assert_eq!(
            head(&together(vec![line(6.0, 0.1)])),
            "one line makes 20 % of the flutter"
        );
    }

    #[test]
    fn what_tells_lines_apart_comes_with_the_cautions_of_its_deeds() {
        let mut checked = 0;
        let card = "parts_card = 1\nname = \"bench\"\n[[part]]\nname = \"motor\"\n\
            turns_per_second = 40\n[[part]]\nname = \"fan\"\ndriven_by = \"motor\"\n\
            ratio = 1.0\n[[part]]\nname = \"idler\"\nturns_per_second = 40\n";
        let card = PartsCard::from_toml(card).unwrap();
        let mut ripple = line(100.0, 0.06);
        ripple.hz = Hertz(100.01);
        for lines in [
            together(vec![ripple]),
            with_parts(
                line(1.3, 0.06),
                &[("pinch roller", 1, 0.5), ("idler", 1, 0.4)],
            ),
            with_parts(line(40.0, 0.06), &[("motor", 1, 0.5), ("idler", 1, 0.4)]),
            with_parts(line(40.0, 0.06), &[("motor", 1, 0.5), ("fan", 1, 0.4)]),
        ] {
            let said = told_apart(&lines, &lines.lines[0], Some(&card)).unwrap();
            for (deed, caution) in CAUTIONS_NEEDED {
                if said.contains(deed) {
                    checked += 1;
                    let caution = caution_of(caution).trim_end_matches('.');
                    assert!(said.contains(caution), "{deed}: {said}");
                }
            }
        }
        assert!(checked >= 8, "{checked}");
    }
}
