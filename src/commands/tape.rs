//! `tapewright tape`: makes, shows and lists the cards of reference tapes.

use std::fmt::Write as _;
use std::path::Path;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::cli::{MeasureTape, NewCard, ReadOptions, TapeAction, TapeOptions};
use super::{Exit, Failure, Outcome, read};
use crate::readings::{Caution, CautionCode, Measurement};
use crate::records::cards::{self, CardError};
use crate::records::places::Places;
use crate::references::{Found, OwnSpeed, Reference, TapeCard, WithUncertainty, same_machine};

pub(super) fn run(options: &TapeOptions) -> Outcome {
    let places = &options.data.places();
    match &options.action {
        None | Some(TapeAction::List) => list(places),
        Some(TapeAction::Show { card }) => {
            let card: TapeCard = cards::read(places, card).map_err(|error| refused(&error))?;
            say(&shown(&card))
        }
        Some(TapeAction::Certify {
            new,
            error,
            certificate,
            carries,
        }) => {
            let card =
                TapeCard::certified(&name_of(&new.card), *error, certificate.clone(), today());
            keep(card, places, new, carries.as_ref(), &[])
        }
        Some(TapeAction::Measure(measure)) => self::measure(measure, places),
    }
}

pub(super) fn refused(error: &CardError) -> Failure {
    let exit = match error {
        CardError::NoName { .. } => Exit::Usage,
        _ => Exit::File,
    };
    Failure::new(exit, error.to_string())
}

fn say(text: &str) -> Outcome {
    super::say::write_words(text)?;
    Ok(Exit::Done)
}

pub(super) fn today() -> String {
    Timestamp::now()
        .to_zoned_datetime(TimeZone::system())
        .strftime("%Y-%m-%d")
        .to_string()
}

/// The card's name where a file was named.
pub(super) fn name_of(named: &str) -> String {
    let path = Path::new(named);
    match (path.extension(), path.file_stem()) {
        (Some(extension), Some(stem)) if extension.eq_ignore_ascii_case("toml") => {
            stem.to_string_lossy().into_owned()
        }
        _ => named.to_owned(),
    }
}

fn measure(options: &MeasureTape, places: &Places) -> Outcome {
    let reference = &options.reference;
    if reference.tape.is_some() || reference.tape_error.is_some() {
        return Err(Failure::new(
            Exit::Usage,
            "the tape's own error is what is to be found; leave --tape and --tape-error out",
        ));
    }
    let wanted = ReadOptions::of_reference(reference.clone());
    let measurement = read::measured(&wanted, &options.file)?;
    let says = measurement.ident.as_ref().map(|it| it.machine.clone());
    let recorded_on = options.new.recorded_on.clone().or(says);
    if same_machine(recorded_on.as_deref(), options.played_on.as_deref()) {
        return Err(Failure::new(
            Exit::Usage,
            format!(
                "the tape was recorded on {}, the very machine that it was played on: it reads right there at any speed; play it on another machine whose error you know",
                recorded_on.unwrap_or_default()
            ),
        ));
    }
    if let Some(spoilt) = spoilt(&measurement) {
        return Err(Failure::new(
            Exit::NoReference,
            format!(
                "{}: the reading is no measure of the tape: {spoilt}",
                options.file.display()
            ),
        ));
    }
    let (figures, uncertainty) = measurement
        .speed
        .and_then(|speed| Some((speed, speed.uncertainty?)))
        .ok_or_else(|| {
            Failure::new(
                Exit::NoReference,
                format!(
                    "{}: too short to know how true the reading is; record a minute of the tape",
                    options.file.display()
                ),
            )
        })?;
    let mut card = TapeCard::measured(
        &name_of(&options.new.card),
        WithUncertainty {
            value: figures.deviation,
            uncertainty,
        },
        options.machine_error,
        options.played_on.clone(),
        today(),
    );
    card.recorded_on = recorded_on;
    let carries = reference.reference();
    keep(
        card,
        places,
        &options.new,
        Some(&carries),
        &measurement.cautions,
    )
}

/// What makes a speed that of something else than the tape.
fn spoilt(measurement: &Measurement) -> Option<String> {
    let spoils = |it: &&Caution| {
        matches!(
            it.code(),
            CautionCode::SpeedMoved
                | CautionCode::ReferenceAmbiguous
                | CautionCode::ChannelsDisagree
                | CautionCode::ReferenceContradictsTape
        )
    };
    let caution = measurement.cautions.iter().find(spoils)?;
    Some(caution.to_string())
}

/// Whether a caution about a reading is one about the card that is made from
/// it: the tape's own error is what was to be found, and a card has no flutter.
fn concerns_card(caution: &Caution) -> bool {
    !matches!(
        caution.code(),
        CautionCode::ReferenceErrorUnknown
            | CautionCode::ReferenceGivesNoFlutter
            | CautionCode::RecordTooShort
            | CautionCode::ToneTooLow
    )
}

/// Checks and writes a new card, and shows it with the cautions about the
/// reading that it was made from.
fn keep(
    mut card: TapeCard,
    places: &Places,
    new: &NewCard,
    carries: Option<&Reference>,
    cautions: &[Caution],
) -> Outcome {
    card.carries = carries.map(Reference::to_string);
    if new.recorded_on.is_some() {
        card.recorded_on.clone_from(&new.recorded_on);
    }
    let path = cards::file_of::<TapeCard>(places, &new.card).map_err(|error| refused(&error))?;
    let card = card
        .checked()
        .map_err(|error| Failure::new(Exit::Usage, error.to_string()))?;
    cards::write(&path, &card, new.replace).map_err(|error| refused(&error))?;
    let mut text = shown(&card);
    for caution in cautions.iter().filter(|it| concerns_card(it)) {
        let _ = writeln!(text, "  caution      {caution}");
    }
    let _ = writeln!(text, "  written to {}", path.display());
    say(&text)
}

fn list(places: &Places) -> Outcome {
    let all = cards::list::<TapeCard>(places);
    if all.is_empty() {
        return say(
            "No tape cards yet; tapewright tape certify or tapewright tape measure makes one.\n",
        );
    }
    let mut text = String::new();
    let mut worst = Exit::Done;
    for (_, card) in all {
        match card {
            Ok(card) => text.push_str(&shown(&card)),
            Err(error) => {
                worst = Exit::File;
                super::complain(&error.to_string());
            }
        }
    }
    super::say::write_words(&text)?;
    Ok(worst)
}

/// A card in some lines.
fn shown(card: &TapeCard) -> String {
    let OwnSpeed {
        error_percent,
        uncertainty_percent,
        found,
        by,
        on,
        machine_percent,
        read_percent,
    } = &card.speed;
    let mut text = format!("{}\n", card.name);
    let mut line = |what: &str, said: &str| {
        let _ = writeln!(text, "  {what:<13}{said}");
    };
    if let Some(carries) = &card.carries {
        line("carries", carries);
    }
    line(
        "own error",
        &format!("{error_percent:+} % ±{uncertainty_percent} %"),
    );
    let by = by.as_deref();
    match found {
        Found::Certificate => line(
            "found",
            &format!(
                "certificate {}, typed in on {on}",
                by.unwrap_or("without a number")
            ),
        ),
        Found::Measured => line(
            "found",
            &format!("measured on {}, {on}", by.unwrap_or("a trusted machine")),
        ),
    }
    if let (Some([read, around]), Some([machine, known])) = (read_percent, machine_percent) {
        line(
            "",
            &format!("it read {read:+} % ±{around} %, the machine {machine:+} % ±{known} %"),
        );
    }
    if let Some(machine) = &card.recorded_on {
        line("recorded on", machine);
    }
    text
}
