//! The sections of a sheet in their order. What is long is cut and what is many
//! is counted, so that it stays on two pages whatever a job holds.

use super::plainly;
use super::{Block, Section, Sheet, typed};
use crate::readings::{SweepReport, Verdict};
use crate::records::{About, BeforeAfter, Snapshot};
use crate::references::supply::SupplyJudgement;
use crate::report::comparison::{changes, figures, reference, tolerance, verdict};
use crate::report::lines_changed::paired;
use crate::report::pictures::{self, Charted, Picture, ScaleMark, Side};
use crate::report::sweep::{self, Between};
use crate::report::words::{band, channel, clock_source, counted, with_uncertainty};
use crate::report::{budget, lines, supply};

/// Most that is shown of each; the rest is counted.
const MOST_TURNS: usize = 6;
const MOST_TABLES: usize = 2;
const MOST_NOTES: usize = 8;
const MOST_CORRECTIONS: usize = 4;
const MOST_CAUTIONS: usize = 6;
const MOST_CHANGES: usize = 8;
const MOST_LINES: usize = 5;
/// Letters of what somebody typed.
pub(super) const LONGEST_NAME: usize = 90;
const LONGEST_NOTE: usize = 320;

pub(super) fn sections(sheet: &Sheet<'_>) -> Vec<Section> {
    let mut sections = vec![before_and_after(sheet), notes(sheet)];
    sections.extend(readings(sheet));
    sections.push(against_time(sheet));
    sections.push(wavering(sheet));
    sections.push(wiper(sheet));
    sections.push(along_and_supply(sheet));
    sections.push(cautions(sheet));
    sections.push(measured_how(sheet));
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

fn section(title: &str, blocks: Vec<Block>) -> Section {
    Section {
        title: title.to_owned(),
        blocks,
    }
}

/// What is said of the machine and of the job.
pub(super) fn head(sheet: &Sheet<'_>) -> Vec<[String; 2]> {
    let job = sheet.job;
    let said = About::ALL.into_iter().filter_map(|about| {
        let is = job.said(about)?;
        Some([about.name().to_owned(), typed(is, LONGEST_NAME)])
    });
    let dates = job.opened_at.or(job.last_at).map(|opened| {
        let last = job.last_at.unwrap_or(opened);
        let [from, to] = [opened, last].map(|it| sheet.time(it));
        let when = if from == to {
            from
        } else {
            format!("{from} to {to}")
        };
        ["worked on".to_owned(), when]
    });
    said.chain(dates).collect()
}

pub(super) fn title(sheet: &Sheet<'_>) -> String {
    let name = typed(&sheet.job.name, LONGEST_NAME);
    if name.is_empty() {
        "Job without a name".to_owned()
    } else {
        name
    }
}

/// Whose sheet it is, and where the whole record lies.
pub(super) fn foot(sheet: &Sheet<'_>) -> String {
    let version = env!("CARGO_PKG_VERSION");
    format!(
        "Made by tapewright {version} from {}, which holds every figure.",
        sheet.file
    )
}

pub(super) fn workshop(sheet: &Sheet<'_>) -> Option<String> {
    let said = sheet.workshop.map(|it| typed(it, LONGEST_NAME));
    said.filter(|it| !it.is_empty())
}

fn run_name(turn: BeforeAfter<'_>) -> Option<String> {
    turn.each().next()?.run.map(|it| it.to_string())
}

/// "speed", "speed-2": pictures of the second run have its number.
fn numbered(name: &str, nth: usize) -> String {
    match nth {
        0 => name.to_owned(),
        _ => format!("{name}-{}", nth + 1),
    }
}

fn sided(turn: BeforeAfter<'_>) -> impl Iterator<Item = (Side, &Snapshot)> {
    let before = turn.before.map(|it| (Side::Before, it));
    before
        .into_iter()
        .chain(turn.after.map(|it| (Side::After, it)))
}

fn before_and_after(sheet: &Sheet<'_>) -> Section {
    let mut lead = Vec::new();
    let mut drawn = Vec::new();
    for (nth, turn) in sheet.turns.iter().take(MOST_TURNS).enumerate() {
        let name = run_name(*turn);
        let of_run = name.as_ref().map_or(String::new(), |it| format!(", {it}"));
        let marks: Vec<ScaleMark> = sided(*turn).map(|(side, it)| mark(side, it)).collect();
        for (side, snapshot) in sided(*turn) {
            let head = format!("{}{of_run}", crate::report::capital(side.word()));
            lead.push([head, format!("{}.", plainly::of(snapshot).long)]);
        }
        if let Some((before, after)) = turn.before.zip(turn.after) {
            let waver = plainly::wavering(before, after);
            lead.extend(waver.map(|it| [format!("Steadiness{of_run}"), it.to_owned()]));
        }
        let band = turn
            .after
            .or(turn.before)
            .map(|it| tolerance(it).half_width.0);
        let title = name.unwrap_or_else(|| "Speed before and after".to_owned());
        let half_width = band.unwrap_or_default();
        drawn.push(pictures::scale(
            &numbered("scale", nth),
            &title,
            &marks,
            half_width,
        ));
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
        vec![Block::Pictures(drawn), Block::Lead(lead)],
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

fn mark(side: Side, snapshot: &Snapshot) -> ScaleMark {
    let said = plainly::of(snapshot);
    ScaleMark {
        side,
        words: said.short,
        percent: said.percent.map(|it| it.0),
        uncertainty: said.percent.and_then(|it| it.1),
    }
}

fn notes(sheet: &Sheet<'_>) -> Section {
    let mut all: Vec<String> = Vec::new();
    let of_job = sheet.job.notes.iter().map(|it| (it.at, it.text.as_str()));
    let kept = sheet.job.snapshots.iter();
    let of_kept = kept.filter_map(|it| Some((it.taken_at, it.note.as_deref()?)));
    let mut dated: Vec<_> = of_job.chain(of_kept).collect();
    dated.sort_by_key(|it| it.0);
    dated.dedup_by(|one, other| one.1 == other.1);
    let count = dated.len();
    // The last ones tell how it ended.
    for (at, text) in dated.into_iter().skip(count.saturating_sub(MOST_NOTES)) {
        all.push(format!("{}: {}", sheet.time(at), typed(text, LONGEST_NOTE)));
    }
    if count > MOST_NOTES {
        let more = counted((count - MOST_NOTES) as u64, "earlier note", "earlier notes");
        all.insert(0, format!("{more} in {}.", sheet.file));
    }
    section("What was done", vec![Block::Points(all)])
}

fn readings(sheet: &Sheet<'_>) -> Vec<Section> {
    let mut sections: Vec<Section> = sheet
        .turns
        .iter()
        .take(MOST_TABLES)
        .map(|turn| readings_of(sheet, *turn))
        .collect();
    let rows: Vec<Vec<String>> = sheet
        .turns
        .iter()
        .take(MOST_TURNS)
        .skip(MOST_TABLES)
        .map(|turn| short_row(*turn))
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
    if sheet.others > 0 {
        let more = counted(sheet.others as u64, "more measurement", "more measurements");
        let said = format!("{more} in {}.", sheet.file);
        sections.push(section("Measured besides", vec![Block::Points(vec![said])]));
    }
    sections
}

fn readings_of(sheet: &Sheet<'_>, turn: BeforeAfter<'_>) -> Section {
    let of_run = run_name(turn).map_or(String::new(), |it| format!(" at {it}"));
    let column = |side: Side, it: Option<&Snapshot>| {
        let taken = it.map_or(String::new(), |it| format!(", {}", sheet.time(it.taken_at)));
        format!("{}{taken}", side.word())
    };
    let head = vec![
        "reading".to_owned(),
        column(Side::Before, turn.before),
        column(Side::After, turn.after),
        "by what".to_owned(),
    ];
    let rows = figures(turn.before, turn.after)
        .into_iter()
        .map(|row| row.map(|it| typed(&it, LONGEST_NAME)).to_vec());
    let both = turn.before.zip(turn.after);
    let mut changed = both.map_or(Vec::new(), |(before, after)| changes(before, after));
    let more = changed.len().saturating_sub(MOST_CHANGES);
    changed.truncate(MOST_CHANGES);
    if more > 0 {
        changed.push(format!(
            "And {} more.",
            counted(more as u64, "change", "changes")
        ));
    }
    let changed = changed.iter().map(|it| typed(it, LONGEST_NOTE)).collect();
    section(
        &format!("Readings{of_run}, each with its ± (95 %)"),
        vec![Block::Table(head, rows.collect()), Block::Points(changed)],
    )
}

fn short_row(turn: BeforeAfter<'_>) -> Vec<String> {
    let rows = figures(turn.before, turn.after);
    let of = |name: &str, side: usize| {
        let row = rows.iter().find(|it| it[0].starts_with(name));
        row.map_or(String::new(), |it| it[side].clone())
    };
    let said = turn.after.or(turn.before).map(|it| verdict(it).words());
    vec![
        run_name(turn).unwrap_or_else(|| "not said".to_owned()),
        of("speed", 1),
        of("speed", 2),
        of("weighted, two-sigma", 1),
        of("weighted, two-sigma", 2),
        said.unwrap_or_default().to_owned(),
    ]
}

fn against_time(sheet: &Sheet<'_>) -> Section {
    let mut drawn = Vec::new();
    for (nth, turn) in sheet.turns.iter().take(MOST_TABLES).enumerate() {
        let tracks: Vec<_> = sided(*turn)
            .filter_map(|(side, it)| Some((side, it.measurement.track.as_ref()?)))
            .collect();
        let is_judged =
            |it: &Snapshot| !matches!(verdict(it), Verdict::MadeHere | Verdict::WhichTone);
        let band = turn
            .after
            .or(turn.before)
            .filter(|_| turn.each().all(is_judged));
        let zone = band.map(|it| tolerance(it).half_width.0);
        let speed = pictures::track(&numbered("speed", nth), &tracks, Charted::Speed(zone));
        let flutter = pictures::track(&numbered("flutter", nth), &tracks, Charted::Flutter);
        let both = speed.into_iter().chain(flutter);
        drawn.extend(both.map(|it| of_run(it, sheet, *turn)));
    }
    section("Against time", vec![Block::Pictures(drawn)])
}

/// A picture says of which run it is, where there are several.
fn of_run(mut picture: Picture, sheet: &Sheet<'_>, turn: BeforeAfter<'_>) -> Picture {
    if let Some(name) = run_name(turn).filter(|_| sheet.turns.len() > 1) {
        picture.title = format!("{}, {name}", picture.title);
    }
    picture
}

fn wavering(sheet: &Sheet<'_>) -> Section {
    let mut drawn = Vec::new();
    for (nth, turn) in sheet.turns.iter().take(MOST_TABLES).enumerate() {
        let looked = sided(*turn).filter(|(_, it)| it.measurement.lines.is_some());
        let sides: Vec<Side> = looked.map(|it| it.0).collect();
        let shown: Vec<_> = paired(turn.before, turn.after)
            .into_iter()
            .take(MOST_LINES)
            .filter_map(|[was, is]| {
                let (all, line) = is.or(was)?;
                let part = typed(&lines::short(all, line), LONGEST_NAME);
                let rate = format!("{} turns a second", lines::rate(line));
                Some((part, rate, [was, is].map(|it| Some(it?.1.peak.0))))
            })
            .collect();
        let picture = pictures::lines(&numbered("lines", nth), &sides, &shown);
        drawn.extend(picture.map(|it| of_run(it, sheet, *turn)));
    }
    section("What wavers regularly", vec![Block::Pictures(drawn)])
}

fn wiper(sheet: &Sheet<'_>) -> Section {
    let names = match sheet.wipers.len() {
        1 => &["check"][..],
        _ => &["first check", "last check"],
    };
    let checks: Vec<(&str, &SweepReport)> = names
        .iter()
        .zip(&sheet.wipers)
        .map(|(name, (_, report))| (*name, *report))
        .collect();
    let mut said: Vec<String> = names
        .iter()
        .zip(&sheet.wipers)
        .map(|(name, (at, report))| {
            format!("{name}, {}: {}", sheet.time(*at), sweep::headline(report))
        })
        .collect();
    if let [(_, first), (_, last)] = &checks[..] {
        said.push(
            sweep::Comparison::of(first, last, Between::Unknown)
                .sentence
                .to_owned(),
        );
    }
    let newest = checks.last().map(|it| it.1);
    said.extend(newest.map(sweep::advice));
    let picture = pictures::sweeps("wiper", &checks).into_iter().collect();
    section(
        "The trimmer's wiper",
        vec![Block::Pictures(picture), Block::Points(said)],
    )
}

fn along_and_supply(sheet: &Sheet<'_>) -> Section {
    let mut drawn = Vec::new();
    let mut said = Vec::new();
    if let Some((along, of)) = &sheet.along {
        drawn.extend(pictures::along("along", along, tolerance(of).half_width.0));
        said.push(format!(
            "Along the tape: {}.",
            crate::report::text::along(along)
        ));
    }
    if let Some((points, of)) = &sheet.supply {
        let half_width = tolerance(of).half_width;
        drawn.extend(pictures::supply("supply", points, half_width.0));
        let judged = SupplyJudgement::of(points, half_width);
        said.extend(judged.map(|it| {
            format!(
                "Supply: {}; {}.",
                supply::headline(&it),
                supply::advice(&it)
            )
        }));
    }
    section(
        "Along the tape and against the supply",
        vec![Block::Pictures(drawn), Block::Points(said)],
    )
}

fn cautions(sheet: &Sheet<'_>) -> Section {
    let mut all: Vec<(String, Vec<&str>)> = Vec::new();
    let sides = sheet.turns.iter().flat_map(|turn| sided(*turn));
    for (side, snapshot) in sides {
        for caution in &snapshot.measurement.cautions {
            let text = typed(&caution.to_string(), LONGEST_NOTE);
            match all.iter_mut().find(|it| it.0 == text) {
                Some((_, of)) if of.contains(&side.word()) => {}
                Some((_, of)) => of.push(side.word()),
                None => all.push((text, vec![side.word()])),
            }
        }
    }
    let more = all.len().saturating_sub(MOST_CAUTIONS);
    let shown = all.into_iter().take(MOST_CAUTIONS);
    let mut said: Vec<String> = shown
        .map(|(text, of)| format!("{}: {text}", of.join(" and ")))
        .collect();
    if more > 0 {
        said.push(format!(
            "{} in {}.",
            counted(more as u64, "more caution", "more cautions"),
            sheet.file
        ));
    }
    section("To keep in mind", vec![Block::Points(said)])
}

fn measured_how(sheet: &Sheet<'_>) -> Section {
    let Some(snapshot) = sheet.told_of() else {
        return section("How it was measured", vec![Block::Facts(program(sheet))]);
    };
    let measurement = &snapshot.measurement;
    let clock = &measurement.conditions.clock;
    let fact = |what: &str, is: String| [what.to_owned(), is];
    let mut facts = vec![
        fact("reference", of_reference(snapshot)),
        fact("source", typed(&snapshot.source, LONGEST_NAME)),
        fact(
            "record",
            format!(
                "{:.1} s, {} Hz, {}",
                measurement.duration.0,
                measurement.rate_hz,
                channel(measurement.channel)
            ),
        ),
        fact(
            "sample clock",
            format!(
                "{} ppm, {}",
                with_uncertainty(clock.error.0, Some(clock.uncertainty.0), true),
                clock_source(clock.source)
            ),
        ),
        fact("counts as right", band(tolerance(snapshot))),
        fact(
            "speed",
            "percent of nominal speed, positive is fast; each ± covers 95 %".to_owned(),
        ),
    ];
    facts.extend(program(sheet));
    let head = ["part of the speed's ±", "95 %", "known"].map(str::to_owned);
    let rows = budget::rows(measurement).into_iter().map(Vec::from);
    section(
        "How it was measured",
        vec![
            Block::Facts(facts),
            Block::Table(head.to_vec(), rows.collect()),
        ],
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
        format!(", tape \"{}\"", typed(it, LONGEST_NAME))
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

fn corrections(sheet: &Sheet<'_>) -> Section {
    let all = &sheet.job.corrections;
    let earlier = all.len().saturating_sub(MOST_CORRECTIONS);
    let mut said: Vec<String> = all
        .iter()
        .skip(earlier)
        .map(|it| {
            let [was, is] = [&it.was, &it.is].map(|it| typed(it, LONGEST_NAME));
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
