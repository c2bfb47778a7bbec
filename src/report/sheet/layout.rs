//! The sections of a sheet in their order. What is long is cut and what is many
//! is counted, so that it stays on two pages whatever a job holds.

use jiff::{SignedDuration, Timestamp};

use super::drawn::{MOST_TOLD, MOST_TURNS, checks, drawn, most_told, scales, sided, where_along};
use super::{
    Block, LONGEST_DETAIL, LONGEST_NAME, LONGEST_NOTE, Section, Sheet, Turn, measured, plainly,
    section, typed, visits,
};
use crate::records::{About, Job, Snapshot};
use crate::references::supply::SupplyJudgement;
use crate::report::comparison::{changes, figures, tolerance, verdict};
use crate::report::pictures::Side;
use crate::report::sweep::{self, Between};
use crate::report::words::counted;
use crate::report::{capital, supply};

/// Most that is shown of each; the rest is counted.
const LETTERS_OF_NOTES: usize = 560;
const LETTERS_OF_CAUTIONS: usize = 320;
/// Letters that a short one counts as.
const LINE: usize = 80;
const MOST_CORRECTIONS: usize = 2;
/// Of all runs.
const MOST_CHANGES: usize = 8;
const MOST_PICTURES: usize = 8;
const MOST_PICTURES_OF_MORE_RUNS: usize = 6;
const LONGEST_SENTENCE: usize = 300;

/// A note of a measurement and one of the job, no farther apart, are one. A
/// choice.
const AT_ONE_TIME: SignedDuration = SignedDuration::from_mins(2);

pub(super) fn sections(sheet: &Sheet<'_>) -> Vec<Section> {
    let mut sections = vec![before_and_after(sheet), notes(sheet)];
    sections.extend(readings(sheet));
    sections.push(section("In pictures", in_pictures(sheet)));
    let told = wiper(sheet).into_iter().chain(along_and_supply(sheet));
    let told = Block::Points(told.collect());
    sections.push(section("Trimmer, tape and supply", vec![told]));
    sections.push(cautions(sheet));
    sections.push(measured::how(sheet));
    sections.push(corrections(sheet));
    let is_empty = |block: &Block| match block {
        Block::Facts(all) | Block::Lead(all) => all.is_empty(),
        Block::Table(_, rows) => rows.is_empty(),
        Block::Points(all) => all.is_empty(),
        Block::Pictures(all) => all.is_empty(),
    };
    for section in &mut sections {
        section.blocks.retain(|it| !is_empty(it));
    }
    sections.retain(|it| !it.blocks.is_empty());
    sections
}

/// What is said of the machine and of the job.
pub(super) fn head(sheet: &Sheet<'_>) -> Vec<[String; 2]> {
    let job = sheet.job;
    let said = About::ALL.into_iter().filter_map(|about| {
        let is = job.said(about)?;
        Some([about.name().to_owned(), typed(is, LONGEST_NAME)])
    });
    let dates = worked_on(job).map(|worked_on| {
        let [from, to] = worked_on.map(|it| sheet.time(it));
        let when = if from == to {
            from
        } else {
            format!("{from} to {to}")
        };
        ["worked on".to_owned(), when]
    });
    said.chain(dates).collect()
}

/// From the first thing that was kept to the last; a correction is no work. Of
/// an empty job, when it was begun.
fn worked_on(job: &Job) -> Option<[Timestamp; 2]> {
    let kept = job.snapshots.iter().map(|it| it.taken_at);
    let checked = job.wipers.iter().map(|it| it.at);
    let noted = job.notes.iter().map(|it| it.at);
    let all = || kept.clone().chain(checked.clone()).chain(noted.clone());
    let worked_on = all().min().zip(all().max());
    let begun = || job.opened_at.or(job.last_at).map(|it| (it, it));
    worked_on.or_else(begun).map(Into::into)
}

/// What the job is called. A name that the program made of the day and of the
/// machine goes with the machine's name as it stands.
fn called(job: &Job) -> String {
    let as_it_is = || job.name.clone();
    let Some((day, machine)) = job.name.split_once(' ') else {
        return as_it_is();
    };
    if day.parse::<jiff::civil::Date>().is_err() {
        return as_it_is();
    }
    let wrong = job.corrections.iter().find_map(|it| {
        let is_machine = it.what == About::Machine.name();
        let more = machine.strip_prefix(it.was.trim()).filter(|_| is_machine)?;
        (more.is_empty() || more.starts_with(" no. ")).then_some(more)
    });
    match wrong.zip(job.machine()) {
        Some((more, machine)) => format!("{day} {}{more}", machine.trim()),
        None => as_it_is(),
    }
}

pub(super) fn title(sheet: &Sheet<'_>) -> String {
    let name = typed(&called(sheet.job), LONGEST_NAME);
    if name.is_empty() {
        "Job without a name".to_owned()
    } else {
        name
    }
}

/// Whose sheet it is, and where the whole record lies.
pub(super) fn foot(sheet: &Sheet<'_>) -> String {
    let version = env!("CARGO_PKG_VERSION");
    let more = counted(sheet.others as u64, "more measurement", "more measurements");
    let more = if sheet.others > 0 {
        format!(", {more} among them")
    } else {
        String::new()
    };
    format!(
        "Made by tapewright {version} from {}, which holds every figure{more}.",
        sheet.file
    )
}

pub(super) fn workshop(sheet: &Sheet<'_>) -> Option<String> {
    let said = sheet.workshop.map(|it| typed(it, LONGEST_NAME));
    said.filter(|it| !it.is_empty())
}

fn before_and_after(sheet: &Sheet<'_>) -> Section {
    let mut lead = Vec::new();
    // Of more runs the pictures say it.
    let told = if sheet.turns.len() > MOST_TOLD {
        0
    } else {
        MOST_TOLD
    };
    for turn in sheet.turns.iter().take(told) {
        let of_run = turn
            .name
            .clone()
            .map_or(String::new(), |it| format!(", {it}"));
        for (side, snapshot) in sided(turn) {
            let head = format!("{}{of_run}", capital(side.word()));
            let said = plainly::of(snapshot, turn.band()).long;
            lead.push([head, format!("{said}.")]);
        }
        if let Some((before, after)) = turn.pair.before.zip(turn.pair.after) {
            let waver = plainly::wavering(before, after);
            lead.extend(waver.map(|it| [format!("Steadiness{of_run}"), it.to_owned()]));
        }
    }
    lead.extend(visits::told_again(sheet));
    let shown = sheet.turns.iter().take(MOST_TURNS);
    let mut shown = shown.flat_map(|turn| turn.pair.each().map(|it| (it, turn.band())));
    if let Some((it, _)) = shown.find(|(it, band)| plainly::is_by_tape(it, *band)) {
        let [head, _] = plainly::by_what(it);
        lead.push([head.to_owned(), plainly::UNKNOWN_TAPE.to_owned()]);
    }
    if sheet.turns.is_empty() {
        lead.push(["Speed".to_owned(), nothing(sheet).to_owned()]);
    }
    let more = sheet.turns.len().saturating_sub(MOST_TURNS);
    if more > 0 {
        let more = counted(more as u64, "speed or direction", "speeds and directions");
        lead.push([
            "Besides".to_owned(),
            format!("{more} more in {}.", sheet.file),
        ]);
    }
    section(
        "Before and after",
        vec![Block::Pictures(scales(sheet)), Block::Lead(lead)],
    )
}

/// Why there is neither a before nor an after.
fn nothing(sheet: &Sheet<'_>) -> &'static str {
    if !sheet.job.snapshots.is_empty() {
        "nothing was kept as before or after, so nothing can be compared."
    } else if !sheet.job.wipers.is_empty() {
        "not measured; only the trimmer was checked."
    } else {
        "nothing has been measured in this job."
    }
}

fn notes(sheet: &Sheet<'_>) -> Section {
    let of_job = sheet.job.notes.iter().map(|it| (it.at, it.text.as_str()));
    let kept = sheet.job.snapshots.iter();
    let of_kept = kept.filter_map(|it| Some((it.taken_at, it.note.as_deref()?)));
    // What was noted of a measurement may have been noted of the job as well.
    let is_told = |(at, text): &(Timestamp, &str)| {
        let mut of_job = of_job.clone();
        of_job.any(|it| it.1 == *text && at.duration_since(it.0).abs() <= AT_ONE_TIME)
    };
    let of_kept = of_kept.filter(|it| !is_told(it));
    let mut dated: Vec<_> = of_job.clone().chain(of_kept).collect();
    dated.sort_by_key(|it| it.0);
    // The last ones tell how it ended.
    let newest_first = dated.iter().rev();
    let said = newest_first
        .map(|(at, text)| format!("{}: {}", sheet.time(*at), typed(text, LONGEST_NOTE)));
    let mut shown = with_room(said, LETTERS_OF_NOTES);
    shown.reverse();
    let earlier = dated.len() - shown.len();
    if earlier > 0 {
        let earlier = counted(earlier as u64, "earlier note", "earlier notes");
        shown.insert(0, format!("{earlier} in {}.", sheet.file));
    }
    section("What was done", vec![Block::Points(shown)])
}

/// As many of them as some lines hold.
fn with_room(all: impl Iterator<Item = String>, most: usize) -> Vec<String> {
    let mut letters = 0;
    all.take_while(|it| {
        // Each begins a new line.
        letters += it.chars().count().max(LINE);
        letters <= most
    })
    .collect()
}

fn readings(sheet: &Sheet<'_>) -> Vec<Section> {
    let told = most_told(sheet);
    let mut sections: Vec<Section> = sheet
        .turns
        .iter()
        .take(told)
        .map(|turn| readings_of(sheet, turn))
        .collect();
    let rows: Vec<Vec<String>> = sheet
        .turns
        .iter()
        .take(MOST_TURNS)
        .skip(told)
        .map(|turn| short_row(turn))
        .collect();
    let head = [
        "speed and direction",
        "speed % before",
        "speed % after",
        "weighted % before",
        "weighted % after",
        "verdict",
    ];
    let table = Block::Table(head.map(str::to_owned).to_vec(), rows);
    sections.push(section("Readings of the others", vec![table]));
    sections
}

fn readings_of(sheet: &Sheet<'_>, turn: &Turn<'_>) -> Section {
    let of_run = turn
        .name
        .clone()
        .map_or(String::new(), |it| format!(" at {it}"));
    let column = |side: Side, it: Option<&Snapshot>| {
        let taken = it.map_or(String::new(), |it| format!(", {}", sheet.time(it.taken_at)));
        format!("{}{taken}", side.word())
    };
    let head = vec![
        "reading".to_owned(),
        column(Side::Before, turn.pair.before),
        column(Side::After, turn.pair.after),
        "by what".to_owned(),
    ];
    let rows = figures(turn.pair.before, turn.pair.after)
        .into_iter()
        .map(|row| row.map(|it| typed(&it, LONGEST_NAME)).to_vec());
    let both = turn.pair.before.zip(turn.pair.after);
    let mut changed = both.map_or(Vec::new(), |(before, after)| changes(before, after));
    // Other visits take the room of six.
    let room = MOST_CHANGES - if sheet.again.is_empty() { 0 } else { 6 };
    let most = room / sheet.turns.len().clamp(1, MOST_TOLD);
    let more = changed.len().saturating_sub(most);
    changed.truncate(most);
    if more > 0 {
        changed.push(format!(
            "And {} more.",
            counted(more as u64, "change", "changes")
        ));
    }
    let changed = changed
        .iter()
        .map(|it| typed(it, LONGEST_SENTENCE))
        .collect();
    section(
        &format!("Readings{of_run}, with ± (95 %) where it is known"),
        vec![Block::Table(head, rows.collect()), Block::Points(changed)],
    )
}

fn short_row(turn: &Turn<'_>) -> Vec<String> {
    let rows = figures(turn.pair.before, turn.pair.after);
    let of = |name: &str, side: usize| {
        let row = rows.iter().find(|it| it[0].starts_with(name));
        row.map_or(String::new(), |it| it[side].clone())
    };
    let said = turn
        .pair
        .after
        .or(turn.pair.before)
        .map(|it| verdict(it).words());
    vec![
        turn.name.clone().unwrap_or_else(|| "not said".to_owned()),
        of("speed", 1),
        of("speed", 2),
        of("weighted, two-sigma", 1),
        of("weighted, two-sigma", 2),
        said.unwrap_or_default().to_owned(),
    ]
}

/// As many of the pictures as have room: those of the second run give way.
fn in_pictures(sheet: &Sheet<'_>) -> Vec<Block> {
    let mut shown = drawn(sheet);
    let all = shown.len();
    let most = if sheet.turns.len() > 1 {
        MOST_PICTURES_OF_MORE_RUNS
    } else {
        MOST_PICTURES
    };
    while shown.len() > most {
        let last = shown
            .iter()
            .rposition(|it| it.name.ends_with("-2") && it.name != "wiper-2");
        shown.remove(last.unwrap_or(shown.len() - 1));
    }
    let more = all - shown.len();
    let more = (more > 0).then(|| {
        let more = counted(more as u64, "more picture", "more pictures");
        format!("{more}: tapewright sheet --pictures FOLDER.")
    });
    vec![
        Block::Pictures(shown),
        Block::Points(more.into_iter().collect()),
    ]
}

fn wiper(sheet: &Sheet<'_>) -> Vec<String> {
    let mut said: Vec<String> = checks(sheet)
        .map(|(name, at, report)| {
            format!("{name}, {}: {}", sheet.time(at), sweep::headline(report))
        })
        .collect();
    if let [(_, first), (_, last)] = &sheet.wipers[..] {
        said.push(
            sweep::Comparison::of(first, last, Between::Unknown)
                .sentence
                .to_owned(),
        );
    }
    said.extend(sheet.wipers.last().map(|it| sweep::advice(it.1)));
    said
}

fn along_and_supply(sheet: &Sheet<'_>) -> Vec<String> {
    let along = sheet.along.as_ref();
    let along = along.map(|it| {
        let said = crate::report::text::along(&it.along);
        format!("Speed {}: {said}.", where_along(sheet, it))
    });
    let judged = sheet.supply.as_ref().and_then(|at| {
        let it = SupplyJudgement::of(&at.points, tolerance(at.of).half_width)?;
        Some(format!(
            "Supply, {}: {}; {}.",
            sheet.when(at.of),
            supply::headline(&it),
            supply::advice(&it)
        ))
    });
    along.into_iter().chain(judged).collect()
}

fn cautions(sheet: &Sheet<'_>) -> Section {
    let mut all: Vec<(String, Vec<&str>)> = Vec::new();
    let sides = sheet.turns.iter().flat_map(|turn| sided(turn));
    for (side, snapshot) in sides {
        for caution in &snapshot.measurement.cautions {
            let text = typed(&caution.to_string(), LONGEST_SENTENCE);
            match all.iter_mut().find(|it| it.0 == text) {
                Some((_, of)) if of.contains(&side.word()) => {}
                Some((_, of)) => of.push(side.word()),
                None => all.push((text, vec![side.word()])),
            }
        }
    }
    let each = all
        .iter()
        .map(|(text, of)| format!("{}: {text}", of.join(" and ")));
    let mut said = with_room(each, LETTERS_OF_CAUTIONS);
    let more = all.len() - said.len();
    if more > 0 {
        said.push(format!(
            "{} in {}.",
            counted(more as u64, "more caution", "more cautions"),
            sheet.file
        ));
    }
    section("To keep in mind", vec![Block::Points(said)])
}

fn corrections(sheet: &Sheet<'_>) -> Section {
    let all = &sheet.job.corrections;
    let earlier = all.len().saturating_sub(MOST_CORRECTIONS);
    let mut said: Vec<String> = all
        .iter()
        .skip(earlier)
        .map(|it| {
            let [was, is] = [&it.was, &it.is].map(|it| typed(it, LONGEST_DETAIL));
            format!(
                "{}: {} was \"{was}\", is \"{is}\"",
                sheet.time(it.at),
                typed(&it.what, LONGEST_NAME)
            )
        })
        .collect();
    if earlier > 0 {
        let earlier = counted(earlier as u64, "earlier one", "earlier ones");
        said.insert(0, format!("{earlier} in {}.", sheet.file));
    }
    section("Corrections", vec![Block::Points(said)])
}
