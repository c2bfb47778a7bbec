//! The sheet as one object of JSON. A measurement is the object that
//! `read --json` has of a recording, so that both mean the same.

use jiff::Timestamp;
use serde::Serialize;
use serde_json::Value;

use super::{Sheet, plainly};
use crate::readings::{Place, SweepReport};
use crate::records::{About, Snapshot};
use crate::references::supply::{SupplyJudgement, SupplyVerdict};
use crate::report::comparison::tolerance;
use crate::report::numbers::places;
use crate::report::{FileReport, FileResult, json as reading};

/// Value of the key `schema`.
pub const SCHEMA: &str = "tapewright.sheet/1";

#[derive(Serialize)]
struct Whole<'a> {
    schema: &'static str,
    name: &'a str,
    workshop: Option<&'a str>,
    simulated: bool,
    machine: Option<&'a str>,
    serial: Option<&'a str>,
    owner_note: Option<&'a str>,
    supply: Option<&'a str>,
    opened_at: Option<Timestamp>,
    last_at: Option<Timestamp>,
    programs: &'a [String],
    runs: Vec<Run<'a>>,
    wiper: Vec<Wiper>,
    along: Option<Along>,
    supply_points: Option<Supply>,
    notes: Vec<Note<'a>>,
    corrections: Vec<Correction<'a>>,
    others: usize,
}

#[derive(Serialize)]
struct Run<'a> {
    speed_cm_s: Option<f64>,
    direction: Option<crate::records::Direction>,
    before: Option<Kept<'a>>,
    after: Option<Kept<'a>>,
}

#[derive(Serialize)]
struct Kept<'a> {
    taken_at: Timestamp,
    source: &'a str,
    tape: Option<&'a str>,
    note: Option<&'a str>,
    tolerance_percent: f64,
    /// What its owner is told.
    plainly: String,
    reading: Value,
}

#[derive(Serialize)]
struct Wiper {
    at: Timestamp,
    sweep: Value,
}

#[derive(Serialize)]
struct Along {
    start: OnTape,
    middle: Option<OnTape>,
    end: OnTape,
    change_percent: Option<f64>,
    change_uncertainty_percent: Option<f64>,
    sloping: bool,
}

#[derive(Serialize)]
struct OnTape {
    deviation_percent: Option<f64>,
    uncertainty_percent: Option<f64>,
}

#[derive(Serialize)]
struct Supply {
    verdict: Option<&'static str>,
    percent_per_volt: Option<f64>,
    points: Vec<AtVoltage>,
}

#[allow(clippy::struct_field_names)] // the keys carry their unit
#[derive(Serialize)]
struct AtVoltage {
    supply_volts: f64,
    deviation_percent: Option<f64>,
    uncertainty_percent: Option<f64>,
}

#[derive(Serialize)]
struct Note<'a> {
    at: Timestamp,
    text: &'a str,
}

#[derive(Serialize)]
struct Correction<'a> {
    at: Timestamp,
    what: &'a str,
    was: &'a str,
    is: &'a str,
}

/// The object on one line, with its end.
#[allow(clippy::missing_panics_doc)] // it cannot, as the reason given says
pub fn json(sheet: &Sheet<'_>) -> String {
    let job = sheet.job;
    let said = |about| job.said(about);
    let whole = Whole {
        schema: SCHEMA,
        name: &job.name,
        workshop: sheet.workshop,
        simulated: job.simulated,
        machine: said(About::Machine),
        serial: said(About::Serial),
        owner_note: said(About::OwnerNote),
        supply: said(About::Supply),
        opened_at: job.opened_at,
        last_at: job.last_at,
        programs: &job.programs,
        runs: sheet
            .turns
            .iter()
            .chain(&sheet.again)
            .map(|it| run(it.pair))
            .collect(),
        wiper: sheet.wipers.iter().map(|(at, it)| wiper(*at, it)).collect(),
        along: sheet.along.as_ref().map(|(along, _)| Along {
            start: on_tape(&along.start),
            middle: along.middle.as_ref().map(on_tape),
            end: on_tape(&along.end),
            change_percent: places(along.change.0, 6),
            change_uncertainty_percent: places(along.change_uncertainty.0, 6),
            sloping: along.is_sloping(),
        }),
        supply_points: supply(sheet),
        notes: job
            .notes
            .iter()
            .map(|it| Note {
                at: it.at,
                text: &it.text,
            })
            .collect(),
        corrections: job
            .corrections
            .iter()
            .map(|it| Correction {
                at: it.at,
                what: &it.what,
                was: &it.was,
                is: &it.is,
            })
            .collect(),
        others: sheet.others,
    };
    serde_json::to_string(&whole).expect("texts and figures always become JSON") + "\n"
}

fn run(turn: crate::records::BeforeAfter<'_>) -> Run<'_> {
    let run = turn.each().next().and_then(|it| it.run);
    Run {
        speed_cm_s: run.and_then(|it| it.speed_cm_s),
        direction: run.and_then(|it| it.direction),
        before: turn.before.map(kept),
        after: turn.after.map(kept),
    }
}

fn kept(snapshot: &Snapshot) -> Kept<'_> {
    let report = FileReport {
        tolerance: tolerance(snapshot),
        ..FileReport::of(
            &snapshot.source,
            FileResult::Measured(&snapshot.measurement),
        )
    };
    Kept {
        taken_at: snapshot.taken_at,
        source: &snapshot.source,
        tape: snapshot.tape.as_deref(),
        note: snapshot.note.as_deref(),
        tolerance_percent: tolerance(snapshot).half_width.0,
        plainly: plainly::of(snapshot).long,
        reading: reading::object(&report),
    }
}

fn wiper(at: Timestamp, report: &SweepReport) -> Wiper {
    Wiper {
        at,
        sweep: reading::sweep(report),
    }
}

fn on_tape(place: &Place) -> OnTape {
    OnTape {
        deviation_percent: places(place.deviation.0, 6),
        uncertainty_percent: places(place.uncertainty.0, 6),
    }
}

fn supply(sheet: &Sheet<'_>) -> Option<Supply> {
    let (points, of) = sheet.supply.as_ref()?;
    let judged = SupplyJudgement::of(points, tolerance(of).half_width);
    Some(Supply {
        verdict: judged.map(|it| match it.verdict {
            SupplyVerdict::Holds => "holds",
            SupplyVerdict::Follows => "follows",
            SupplyVerdict::NotTold => "not_told",
        }),
        percent_per_volt: judged.and_then(|it| places(it.percent_per_volt, 6)),
        points: points
            .iter()
            .map(|it| AtVoltage {
                supply_volts: it.volts,
                deviation_percent: places(it.deviation.0, 6),
                uncertainty_percent: places(it.uncertainty.0, 6),
            })
            .collect(),
    })
}
