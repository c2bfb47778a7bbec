//! `tapewright parts`: lists, shows, makes and learns cards of rotating parts.

use std::fmt::Write as _;

use super::cli::{LearnPart, PartsAction, PartsOptions, ReadOptions};
use super::say::write_words;
use super::tape::{name_of, refused, today};
use super::{Exit, Failure, Outcome, complain, making, read};
use crate::readings::{FlutterLine, FlutterLines, Measurement};
pub(super) use crate::records::cards::of_machine;
use crate::records::cards::{self, CardError};
use crate::records::places::Places;
use crate::references::parts::{HeardAt, Part, PartRate, PartsCard, generic};
use crate::report::lines;
use crate::units::Percent;

/// A line is meant that lies this near to what was typed.
const NEAR: f64 = 0.03;

pub(super) fn run(options: &PartsOptions) -> Outcome {
    let places = &options.data.places();
    match &options.action {
        None | Some(PartsAction::List) => list(places),
        Some(PartsAction::Show { card, deviation }) => {
            let card: PartsCard = cards::read(places, card).map_err(|error| refused(&error))?;
            say(&shown(&card, Percent(*deviation)))
        }
        Some(PartsAction::Make { card, replace }) => make(places, card, *replace),
        Some(PartsAction::Learn(learn)) => self::learn(places, learn),
    }
}

fn say(text: &str) -> Outcome {
    write_words(text)?;
    Ok(Exit::Done)
}

fn list(places: &Places) -> Outcome {
    let mut text = String::new();
    let mut worst = Exit::Done;
    for (path, card) in cards::list::<PartsCard>(places) {
        match card {
            Ok(card) => {
                let _ = writeln!(text, "{}  ({})", in_a_line(&card), path.display());
            }
            Err(error) => {
                worst = Exit::File;
                complain(&error.to_string());
            }
        }
    }
    if text.is_empty() {
        text.push_str("No cards of your own yet; tapewright parts make or learn makes one.\n");
    }
    text.push_str("\nFor kinds of machine, with wide tolerances, a hint only:\n");
    for card in generic() {
        let _ = writeln!(text, "{}", in_a_line(card));
    }
    write_words(&text)?;
    Ok(worst)
}

fn in_a_line(card: &PartsCard) -> String {
    let names: Vec<&str> = card.parts.iter().map(|it| it.name.as_str()).collect();
    format!("{}: {}", card.name, names.join(", "))
}

/// A card with the rates of its parts on a machine that is off by this.
fn shown(card: &PartsCard, deviation: Percent) -> String {
    let mut text = format!("{}\n", card.name);
    if card.generic {
        text.push_str("  for a kind of machine: wide tolerances, a hint only\n");
    }
    let at = match card.speed_cm_s {
        Some(speed) => format!("{speed} cm/s"),
        None => "nominal speed".to_owned(),
    };
    let off = if deviation.0 == 0.0 {
        String::new()
    } else {
        format!(" {:+} %", deviation.0)
    };
    let head = format!("at {at}{off}");
    let _ = writeln!(text, "  {head:<26}turns a second        shows");
    for (part, rate) in card.parts.iter().zip(card.rates(None)) {
        let turns = turns(&rate, deviation);
        let line = format!("  {:<26}{turns:<22}{}", part.name, shows(part));
        let _ = writeln!(text, "{}", line.trim_end());
    }
    if card.parts.is_empty() {
        text.push_str("  no part on it yet\n");
    }
    text
}

fn turns(rate: &PartRate, deviation: Percent) -> String {
    let [slow, fast] = rate.turns.map(|it| it * deviation.ratio());
    let around = rate.tolerance_percent;
    if rate.pack.is_some() {
        format!("{slow:.3} to {fast:.3} ±{around:.1} %")
    } else {
        format!("{slow:.3} ±{around:.1} %")
    }
}

fn shows(part: &Part) -> String {
    let often: Vec<String> = part.all_harmonics().iter().map(u32::to_string).collect();
    let mut said = vec![format!("{} a turn", often.join(", "))];
    said.extend(part.usual().map(|it| format!("usual up to {} %", it.0)));
    if !part.also.is_empty() {
        said.push(format!("with {}", part.also.join(", ")));
    }
    said.extend(part.learned.as_ref().map(|it| format!("learnt {it}")));
    said.join("; ")
}

fn make(places: &Places, named: &str, replace: bool) -> Outcome {
    let path = cards::file_of::<PartsCard>(places, named).map_err(|error| refused(&error))?;
    // Said before all the questions.
    if path.exists() && !replace {
        let exists = cards::CardError::Exists { path };
        return Err(refused(&exists));
    }
    let made = making::made_at_terminal(&name_of(named))?;
    let Some(card) = made else {
        return say("No part was named, so no card was written.\n");
    };
    cards::write(&path, &card, replace).map_err(|error| refused(&error))?;
    let written = format!("  written to {}\n", path.display());
    say(&(shown(&card, Percent(0.0)) + &written))
}

fn learn(places: &Places, options: &LearnPart) -> Outcome {
    let named = &options.card;
    let path = cards::file_of::<PartsCard>(places, named).map_err(|error| refused(&error))?;
    let exists = path.exists();
    let mut card = match cards::read::<PartsCard>(places, named) {
        Ok(card) if card.generic => return Err(for_a_kind(named)),
        Ok(card) => card,
        Err(CardError::Missing { .. }) => PartsCard::new(&name_of(named)),
        Err(error) => return Err(refused(&error)),
    };
    let name = options.part.trim();
    if card.part(name).is_some() && !options.replace {
        return Err(Failure::new(
            Exit::Usage,
            format!(
                "\"{name}\" stands on the card {named} already; say --replace to put its rate right, or give the part another name"
            ),
        ));
    }
    let reading = ReadOptions::of_reference(options.reference.clone());
    let measurement = read::measured(&reading, &options.file)?;
    let (line, at) = line_of(&measurement, options)?;
    let source = options.file.file_name().map(|it| it.to_string_lossy());
    let learned = format!("{}, {}", today(), source.unwrap_or_default());
    let refuse = |why: String| Failure::new(Exit::Usage, why);
    card.learn(name, line, options.times, &at, learned)
        .map_err(|why| refuse(why.to_string()))?;
    let card = card.checked().map_err(|error| refuse(error.to_string()))?;
    cards::write(&path, &card, exists).map_err(|error| refused(&error))?;
    let heard = format!(
        "  learnt from {}; another part, or a line on the tape, may have that rate too\n",
        lines::figures(line)
    );
    let written = format!("  written to {}\n", path.display());
    say(&(shown(&card, Percent(0.0)) + &heard + &written))
}

fn for_a_kind(named: &str) -> Failure {
    Failure::new(
        Exit::Usage,
        format!(
            "\"{named}\" is a card for a kind of machine, not of one; nothing was learnt, so name the card of this machine, such as \"bench deck\""
        ),
    )
}

/// The line that was meant, and at what speed it was heard.
fn line_of<'a>(
    measurement: &'a Measurement,
    options: &LearnPart,
) -> Result<(&'a FlutterLine, HeardAt), Failure> {
    let refuse = |why: String| {
        let file = options.file.display();
        Failure::new(Exit::NoReference, format!("{file}: {why}"))
    };
    let Some((lines, speed)) = measurement.lines.as_ref().zip(measurement.speed) else {
        return Err(refuse(
            "no lines can be told of it; record a test tone for a minute".to_owned(),
        ));
    };
    let away = |line: &FlutterLine| (line.hz.0 / options.line).ln().abs();
    let nearest = lines
        .lines
        .iter()
        .min_by(|a, b| away(a).total_cmp(&away(b)));
    let recorded_here = measurement.conditions.reference.recorded_here;
    let at = HeardAt::of(&speed, recorded_here, None);
    nearest
        .filter(|line| away(line) < NEAR)
        .map(|line| (line, at))
        .ok_or_else(|| refuse(not_there(lines, options.line)))
}

fn not_there(lines: &FlutterLines, wanted: f64) -> String {
    let there: Vec<String> = lines.lines.iter().map(lines::rate).collect();
    let there = if there.is_empty() {
        format!("there is none: {}", lines::none(lines))
    } else {
        format!("there are lines at {}", there.join(", "))
    };
    format!("no line near {wanted} turns a second; {there}")
}
