//! How it was measured: by which reference, of which card, with which clock, and
//! what the ± of the speed is made of.

use super::drawn::sided;
use super::{Block, LONGEST_DETAIL, LONGEST_NOTE, Section, Sheet, section, typed};
use crate::records::Snapshot;
use crate::report::budget;
use crate::report::comparison::{reference, tolerance};
use crate::report::words::{band, channel, clock_source, with_uncertainty};

/// Letters of a tape's card, for two may stand beside each other.
const LONGEST_CARD: usize = 28;

/// What must be known of the flutter's figures.
const CONFORMITY: &str = "weighting table from memory; no conformity to a standard is claimed";

pub(super) fn how(sheet: &Sheet<'_>) -> Section {
    let title = match &sheet.turns[..] {
        [first, _, ..] => first
            .name
            .as_ref()
            .map(|it| format!("How it was measured: {it}")),
        _ => None,
    };
    let title = title.unwrap_or_else(|| "How it was measured".to_owned());
    let shown = told_of(sheet);
    let Some((whose, newest)) = shown.last() else {
        return section(&title, vec![Block::Facts(program(sheet))]);
    };
    let fact = |what: &str, is: String| [what.to_owned(), is];
    let of_each = |what: &str, read: fn(&Snapshot) -> String| fact(what, distinct(&shown, read));
    let mut facts = vec![
        of_each("reference", of_reference),
        fact("source", typed(&newest.source, LONGEST_DETAIL)),
        fact("record", record(newest)),
        of_each("sample clock", sample_clock),
        of_each("counts as right", |it| band(tolerance(it))),
        fact(
            "speed",
            "percent of nominal speed, positive is fast; each ± covers 95 %".to_owned(),
        ),
        fact("flutter", CONFORMITY.to_owned()),
    ];
    facts.extend(program(sheet));
    let of_one = whose.as_ref().filter(|_| shown.len() > 1);
    let of_one = of_one.map_or(String::new(), |it| format!(", {it}"));
    let part = format!("part of the speed's ±{of_one}");
    let head = vec![part, "95 %".to_owned(), "known".to_owned()];
    let rows = budget::rows(&newest.measurement).into_iter().map(Vec::from);
    section(
        &title,
        vec![Block::Facts(facts), Block::Table(head, rows.collect())],
    )
}

/// The measurements whose conditions are told, each with what it is: those of
/// the first run, or the newest of all.
fn told_of<'a>(sheet: &Sheet<'a>) -> Vec<(Option<&'static str>, &'a Snapshot)> {
    match sheet.turns.first() {
        Some(turn) => sided(turn)
            .map(|(side, it)| (Some(side.word()), it))
            .collect(),
        None => sheet
            .job
            .snapshots
            .last()
            .map(|it| (None, it))
            .into_iter()
            .collect(),
    }
}

/// What holds for all, or what holds for each.
fn distinct(of: &[(Option<&str>, &Snapshot)], read: fn(&Snapshot) -> String) -> String {
    let each: Vec<String> = of.iter().map(|it| read(it.1)).collect();
    if each.windows(2).all(|it| it[0] == it[1]) {
        return each.into_iter().next().unwrap_or_default();
    }
    let named = of.iter().zip(each);
    let named = named.map(|((whose, _), said)| format!("{}: {said}", whose.unwrap_or_default()));
    named.collect::<Vec<_>>().join("; ")
}

fn record(snapshot: &Snapshot) -> String {
    let it = &snapshot.measurement;
    format!(
        "{:.1} s, {} Hz, {}",
        it.duration.0,
        it.rate_hz,
        channel(it.channel)
    )
}

fn sample_clock(snapshot: &Snapshot) -> String {
    let clock = &snapshot.measurement.conditions.clock;
    format!(
        "{} ppm, {}",
        with_uncertainty(clock.error.0, Some(clock.uncertainty.0), true),
        clock_source(clock.source)
    )
}

fn program(sheet: &Sheet<'_>) -> Vec<[String; 2]> {
    let versions: Vec<String> = sheet.job.programs.iter().map(|it| typed(it, 20)).collect();
    let by = format!("tapewright {}; kept in {}", versions.join(", "), sheet.file);
    vec![["program".to_owned(), typed(&by, LONGEST_NOTE)]]
}

/// The reference, its card, and how true it is.
fn of_reference(snapshot: &Snapshot) -> String {
    let measurement = &snapshot.measurement;
    let own = &measurement.conditions.reference;
    let card = snapshot.tape.as_ref();
    let card = card.map_or(String::new(), |it| {
        format!(", tape \"{}\"", typed(it, LONGEST_CARD))
    });
    let error = match own.uncertainty {
        _ if own.recorded_here => "recorded on this machine, so it judges nothing".to_owned(),
        Some(known) => {
            let error = with_uncertainty(own.error.0, Some(known.0), true);
            let home_made = if own.home_made { ", home-made" } else { "" };
            format!("own error {error} %, taken out{home_made}")
        }
        None => "own error not known".to_owned(),
    };
    format!("{}{card}; {error}", reference(measurement))
}
