//! The tables and their columns. A column is either read off what the row is of,
//! or a figure of the object that `read --json` would have.

use serde_json::Value;

use super::rows::{Figures, SIMULATED, Said, list, middle, moment, table, time};
use super::wiper::{Check, of_checks};
use super::{Cell, Table};
use crate::readings::Measurement;
use crate::records::{About, Correction, Job, Note, Snapshot};
use crate::references::Tolerance;
use crate::report::numbers::{places, significant};
use crate::report::{FileReport, FileResult, json};
use crate::units::{Percent, Seconds};

/// All tables of a job.
pub fn of_job(job: &Job) -> Vec<Table> {
    let taken: Vec<Taken<'_>> = job.snapshots.iter().map(Taken::of).collect();
    let checks = job.wipers.iter().map(|check| Check {
        at: Some(check.at),
        report: &check.report,
        simulated: Some(job.simulated),
    });
    let mut tables = vec![the_job(job)];
    tables.extend(of_taken(&taken));
    tables.extend(of_checks(&checks.collect::<Vec<_>>()));
    tables.push(notes(&job.notes));
    tables.push(corrections(&job.corrections));
    tables
}

/// The tables of one file of `tapewright read`; those of the wiper only where
/// that was asked for.
pub fn of_file(report: &FileReport<'_>) -> Vec<Table> {
    let mut tables = of_taken(&[Taken::of_file(report)]);
    if let Some(report) = report.sweep {
        tables.extend(of_checks(&[Check {
            at: None,
            report,
            simulated: None,
        }]));
    }
    tables
}

fn of_taken(taken: &[Taken<'_>]) -> Vec<Table> {
    vec![readings(taken), speed(taken), flutter(taken), lines(taken)]
}

fn the_job(job: &Job) -> Table {
    let said: [Said<&Job>; 9] = [
        ("name", "as the job is called", |it| {
            Cell::Text(it.name.clone())
        }),
        ("machine", "name of the machine", |it| {
            Cell::text(it.said(About::Machine))
        }),
        ("serial", "its serial number, as it was typed", |it| {
            Cell::text(it.said(About::Serial))
        }),
        ("owner_note", "what its owner says of it", |it| {
            Cell::text(it.said(About::OwnerNote))
        }),
        ("supply", "what it runs from", |it| {
            Cell::text(it.said(About::Supply))
        }),
        ("opened_utc", "when the job was begun", |it| {
            it.opened_at.map_or(Cell::None, moment)
        }),
        ("last_utc", "when its last line was written", |it| {
            it.last_at.map_or(Cell::None, moment)
        }),
        (SIMULATED[0], SIMULATED[1], |it| Cell::yes(it.simulated)),
        ("programs", "versions of the program that wrote it", |it| {
            Cell::Text(it.programs.join(" "))
        }),
    ];
    // One that holds nothing has no row.
    let begun = job.last_at.is_some().then_some(job);
    list(["job", "the job"], &said, begun)
}

/// A measurement, kept or of a file.
#[derive(Clone)]
struct Taken<'a> {
    /// Unlike every other's.
    id: &'a str,
    measurement: Option<&'a Measurement>,
    snapshot: Option<&'a Snapshot>,
    tape: Option<&'a str>,
    /// As `read --json` says it.
    object: Value,
}

impl<'a> Taken<'a> {
    fn of(snapshot: &'a Snapshot) -> Self {
        let tolerance = snapshot.tolerance.map(Tolerance::of_half_width);
        let report = FileReport {
            tolerance: tolerance.unwrap_or_default(),
            ..FileReport::of(
                &snapshot.source,
                FileResult::Measured(&snapshot.measurement),
            )
        };
        Self {
            id: &snapshot.id,
            measurement: Some(&snapshot.measurement),
            snapshot: Some(snapshot),
            tape: snapshot.tape.as_deref(),
            object: json::object(&report),
        }
    }

    fn of_file(report: &FileReport<'a>) -> Self {
        Self {
            id: report.file,
            measurement: match report.result {
                FileResult::Measured(measurement) => Some(measurement),
                FileResult::NotMeasured { .. } => None,
            },
            snapshot: None,
            tape: report.tape.map(|card| card.name.as_str()),
            object: json::object(report),
        }
    }

    fn kept<S: Into<String>>(&self, of: impl FnOnce(&'a Snapshot) -> Option<S>) -> Cell {
        Cell::text(self.snapshot.and_then(of))
    }

    fn kept_as(&self) -> Cell {
        self.kept(|it| Some(it.label.to_string()))
    }

    fn simulated(&self) -> Cell {
        self.snapshot
            .map_or(Cell::None, |it| Cell::yes(it.simulated))
    }

    fn cautions(&self, key: &str, between: &str) -> Cell {
        let all = self.object["cautions"].as_array().into_iter().flatten();
        let said: Vec<&str> = all.filter_map(|it| it[key].as_str()).collect();
        Cell::text((!said.is_empty()).then(|| said.join(between)))
    }
}

const SNAPSHOT: &str = "id of the snapshot, or the name of the file";
const KEPT_AS: &str = "before, after or a name; empty for a file";

fn readings(taken: &[Taken<'_>]) -> Table {
    let said: [Said<Taken<'_>>; 17] = [
        ("snapshot", SNAPSHOT, |it| Cell::text(Some(it.id))),
        ("kept_as", KEPT_AS, Taken::kept_as),
        ("taken_utc", "when it was complete", |it| {
            it.snapshot.map_or(Cell::None, |it| moment(it.taken_at))
        }),
        ("machine", "name of the machine", |it| {
            it.kept(|it| it.machine.as_deref())
        }),
        ("source", "input or file that it was taken from", |it| {
            it.kept(|it| Some(it.source.as_str()))
        }),
        (SIMULATED[0], SIMULATED[1], Taken::simulated),
        ("tape_speed_cm_s", "nominal speed of the tape", |it| {
            Cell::number(it.snapshot.and_then(|it| it.run?.speed_cm_s))
        }),
        ("direction", "forward or reverse", |it| {
            it.kept(|it| Some(it.run?.direction?.to_string()))
        }),
        ("position", "start, middle or end of the tape", |it| {
            it.kept(|it| Some(it.position?.name()))
        }),
        (
            "supply_v",
            "supply voltage of the machine, as typed",
            |it| Cell::number(it.snapshot.and_then(|it| it.supply_volts)),
        ),
        ("tape", "card of the tape that was played", |it| {
            Cell::text(it.tape)
        }),
        ("parts_card", "card of the parts of the machine", |it| {
            Cell::text(
                it.measurement
                    .and_then(|it| it.lines.as_ref()?.card.as_deref()),
            )
        }),
        ("note", "what was noted with it", |it| {
            it.kept(|it| it.note.as_deref())
        }),
        ("cautions", "codes of what to keep in mind", |it| {
            it.cautions("code", " ")
        }),
        ("caution_texts", "the same in words", |it| {
            it.cautions("text", " ")
        }),
        (
            "dropouts",
            "how often the level fell by 12 dB or more",
            |it| Cell::number(it.measurement.map(|it| it.signal.dropout_count as f64)),
        ),
        (
            "gaps",
            "breaks in the input, of the sound system's making",
            |it| Cell::number(it.measurement.map(|it| it.signal.gaps as f64)),
        ),
    ];
    let rows = taken.iter().map(|it| (it.clone(), it.object.clone()));
    table(["readings", "a measurement"], &said, READINGS, rows)
}

const READINGS: Figures = "\
duration_s | /duration_s | length of what was measured
rate_hz | /rate_hz | samples a second
channel | /channel | left, right, both or mono
usable | /signal/usable | yes: a reference was found, and is good enough to read
verdict | /speed/verdict | what may be said of the speed in its band, with all errors counted
tolerance_percent | /speed/tolerance_percent | half width of that band
deviation_percent | /speed/deviation_percent | long-term mean of the speed against the reference; positive is fast
uncertainty_percent | /speed/uncertainty_percent | 95 % of it, the reference's own error left out
uncertainty_with_reference_percent | /speed/uncertainty_with_reference_percent | 95 % of it, with the reference's own error; empty while nobody knows that
deviation_cents | /speed/deviation_cents | the deviation as a pitch
measured_hz | /speed/measured_hz | the tone as it was heard, the clock's known error taken out
reference_kind | /reference/kind | tone, note, passage, marks or recording
reference_hz | /reference/hz | the tone at right speed; empty where the reference has none
reference_error_percent | /reference/error_percent | the tape's own error, taken out; positive plays high on a true machine
reference_uncertainty_percent | /reference/error_uncertainty_percent | 95 % of it; empty while nobody knows it
clock_error_ppm | /clock/error_ppm | the sample clock's own error, taken out; positive is fast
clock_uncertainty_ppm | /clock/uncertainty_ppm | 95 % of it
clock_source | /clock/source | where the two come from: default, option or measured
part_noise_percent | /speed/uncertainty_parts/noise_percent | part of the ± of the speed that noise makes
part_wow_percent | /speed/uncertainty_parts/wow_percent | part that wow and other fluctuation make
part_partials_percent | /speed/uncertainty_parts/partials_percent | part that the partials of a note make; empty for other references
part_clock_percent | /speed/uncertainty_parts/clock_percent | part that the sample clock makes
part_reference_percent | /speed/uncertainty_parts/reference_percent | part that the reference's own error makes; empty while nobody knows it
drift_percent_per_minute | /drift/percent_per_minute | slow change of the speed; positive grows faster
drift_uncertainty_percent_per_minute | /drift/uncertainty_percent_per_minute | 95 % of it
drift_span_percent | /drift/span_percent | largest less smallest mean of 5 s
weighted_two_sigma_percent | /flutter/weighted_two_sigma_percent | wow and flutter, weighted (IEC 60386), two-sigma: the preferred figure
weighted_two_sigma_uncertainty_percent | /flutter/weighted_two_sigma_uncertainty_percent | 95 % of it
weighted_peak_percent | /flutter/weighted_peak_percent | the same, highest reading of the quasi-peak indicator
weighted_peak_uncertainty_percent | /flutter/weighted_peak_uncertainty_percent | 95 % of it
weighted_rms_percent | /flutter/weighted_rms_percent | the same, root mean square
weighted_rms_uncertainty_percent | /flutter/weighted_rms_uncertainty_percent | 95 % of it
unweighted_two_sigma_percent | /flutter/unweighted_two_sigma_percent | wow and flutter without weighting, two-sigma
unweighted_rms_percent | /flutter/unweighted_rms_percent | the same, root mean square
unweighted_low_hz | /flutter/unweighted_band_hz/0 | lower edge of the band of the two
unweighted_high_hz | /flutter/unweighted_band_hz/1 | its upper edge
wow_rms_percent | /flutter/wow_rms_percent | wow, 0.5 to 6 Hz, root mean square
flutter_rms_percent | /flutter/flutter_rms_percent | flutter, 6 to 100 Hz, root mean square
worth_averaging_s | /stability/worth_averaging_s | averages of this length are the steadiest (Allan deviation)
start_percent | /along/start/deviation_percent | deviation in the first third of a long record
start_uncertainty_percent | /along/start/uncertainty_percent | 95 % of it, without what is the same in all thirds
middle_percent | /along/middle/deviation_percent | deviation in the middle third
middle_uncertainty_percent | /along/middle/uncertainty_percent | 95 % of it, likewise
end_percent | /along/end/deviation_percent | deviation in the last third
end_uncertainty_percent | /along/end/uncertainty_percent | 95 % of it, likewise
start_to_end_percent | /along/change_percent | from the first third to the last; positive is faster at the end
start_to_end_uncertainty_percent | /along/change_uncertainty_percent | 95 % of it
level_dbfs | /signal/level_dbfs | level of the tone; a full-scale sine is 0 (AES17)
snr_db | /signal/snr_db | the tone against all else, its harmonics and flutter left out
clipped_samples | /signal/clipped_samples | samples in runs of three or more at full scale
level_left_dbfs | /channels/level_left_dbfs | level of the tone in the left channel, where there are two
level_right_dbfs | /channels/level_right_dbfs | the same in the right one
balance_db | /channels/balance_db | left less right
balance_uncertainty_db | /channels/balance_uncertainty_db | 95 % of it
right_lags_us | /channels/right_lags_us | how much later the right channel is, microseconds
right_lags_uncertainty_us | /channels/right_lags_uncertainty_us | 95 % of it
right_lags_ambiguous_by_us | /channels/right_lags_ambiguous_by_us | it may be off by whole multiples of this
right_lags_jitter_us | /channels/right_lags_jitter_us | how much it scatters from one tenth of a second to the next
channel_inverted | /channels/inverted | yes: one channel is wired the other way round
";

/// A value of a track.
struct At<'a> {
    taken: &'a Taken<'a>,
    time: Seconds,
    value: Option<Percent>,
}

/// One row a step of a track, in the middle of the step.
fn steps<'a>(
    taken: &'a [Taken<'a>],
    of: fn(&'a crate::readings::Track) -> &'a [Option<Percent>],
) -> impl Iterator<Item = At<'a>> {
    let tracks = taken
        .iter()
        .filter_map(|taken| Some((taken, taken.measurement?.track.as_ref()?)));
    tracks.flat_map(move |(taken, track)| {
        (0u32..).zip(of(track)).map(move |(nth, value)| At {
            taken,
            time: middle(track.from, track.step, nth),
            value: *value,
        })
    })
}

const TIME: &str = "middle of the step, since the recording, its stretch asked for, or what was measured live began";

fn speed(taken: &[Taken<'_>]) -> Table {
    let said: [Said<At<'_>>; 5] = [
        ("snapshot", SNAPSHOT, |it| Cell::text(Some(it.taken.id))),
        ("kept_as", KEPT_AS, |it| it.taken.kept_as()),
        (SIMULATED[0], SIMULATED[1], |it| it.taken.simulated()),
        ("time_s", TIME, |it| time(it.time)),
        (
            "deviation_percent",
            "mean deviation of the speed in the step; empty where there was no reading",
            |it| Cell::number(it.value.and_then(|it| places(it.0, 6))),
        ),
    ];
    let rows = steps(taken, |track| &track.speed);
    list(["speed", "a step of a track of the speed"], &said, rows)
}

fn flutter(taken: &[Taken<'_>]) -> Table {
    let said: [Said<At<'_>>; 5] = [
        ("snapshot", SNAPSHOT, |it| Cell::text(Some(it.taken.id))),
        ("kept_as", KEPT_AS, |it| it.taken.kept_as()),
        (SIMULATED[0], SIMULATED[1], |it| it.taken.simulated()),
        ("time_s", TIME, |it| time(it.time)),
        (
            "weighted_peak_percent",
            "highest weighted quasi-peak reading (IEC 60386) in the step",
            |it| Cell::number(it.value.and_then(|it| significant(it.0, 4))),
        ),
    ];
    let rows = steps(taken, |track| &track.flutter);
    list(["flutter", "a step of a track of the flutter"], &said, rows)
}

/// A line of flutter.
struct LineOf<'a> {
    taken: &'a Taken<'a>,
    number: f64,
    others: Option<String>,
}

fn lines(taken: &[Taken<'_>]) -> Table {
    let said: [Said<LineOf<'_>>; 5] = [
        ("snapshot", SNAPSHOT, |it| Cell::text(Some(it.taken.id))),
        ("kept_as", KEPT_AS, |it| it.taken.kept_as()),
        (SIMULATED[0], SIMULATED[1], |it| it.taken.simulated()),
        (
            "line",
            "which, from 1; the largest weighted share first",
            |it| Cell::Number(it.number),
        ),
        (
            "other_parts",
            "parts that it may come from besides, each with times a turn and likelihood",
            |it| Cell::text(it.others.clone()),
        ),
    ];
    let rows = taken.iter().flat_map(|taken| {
        let found = taken.object["lines"].as_array().into_iter().flatten();
        (1u32..).zip(found).map(move |(number, line)| {
            let of = LineOf {
                taken,
                number: number.into(),
                others: other_parts(line),
            };
            (of, line.clone())
        })
    });
    let names = ["lines", "a line: a regular wavering of the speed"];
    table(names, &said, LINES, rows)
}

fn other_parts(line: &Value) -> Option<String> {
    let others = line["parts"].as_array()?.get(1..)?.iter();
    let words = others.map(|it| {
        let name = it["name"].as_str().unwrap_or_default();
        format!("{name} ×{} {}", it["harmonic"], it["likelihood"])
    });
    let words: Vec<String> = words.collect();
    (!words.is_empty()).then(|| words.join("; "))
}

const LINES: Figures = "\
hz | /hz | its rate as heard, at the speed of then
uncertainty_hz | /uncertainty_hz | 95 % of it
peak_percent | /peak_percent | its amplitude: half of peak to peak, of the speed
uncertainty_percent | /uncertainty_percent | 95 % of it
weighted_share | /weighted_share | part of the weighted flutter's power that it makes, 0 to 1
part | /parts/0/name | part that it likeliest comes from; empty is not known
times_a_turn | /parts/0/harmonic | how often in a turn of that part
likelihood | /parts/0/likelihood | how likely that part is, 0 to 1
motion | /motion | what its rate does when the speed is trimmed
course | /course | steady, growing, fading, comes_and_goes; empty: too short to say
rate_percent_per_minute | /percent_per_minute | how its rate moves by itself, as that of a reel does
rate_uncertainty_percent_per_minute | /uncertainty_percent_per_minute | 95 % of it
";

fn notes(notes: &[Note]) -> Table {
    let said: [Said<(f64, &Note)>; 3] = [
        ("note", "which, from 1", |it| Cell::Number(it.0)),
        ("written_utc", "when it was written first", |it| {
            moment(it.1.at)
        }),
        ("text", "its text as it stands now", |it| {
            Cell::Text(it.1.text.clone())
        }),
    ];
    let rows = (1u32..).map(f64::from).zip(notes);
    list(["notes", "a note"], &said, rows)
}

fn corrections(corrections: &[Correction]) -> Table {
    let said: [Said<&Correction>; 4] = [
        ("corrected_utc", "when", |it| moment(it.at)),
        ("what", "what was corrected", |it| {
            Cell::Text(it.what.clone())
        }),
        ("was", "the text before", |it| Cell::Text(it.was.clone())),
        ("is", "the text since then", |it| Cell::Text(it.is.clone())),
    ];
    list(["corrections", "a correction"], &said, corrections)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Track;
    use crate::records::{Label, WiperCheck};
    use crate::report::sample;
    use crate::report::tables::rows::figures;
    use crate::report::tables::wiper::{SPOTS, WIPER};

    /// The cell of a column in a row.
    fn cell<'a>(tables: &'a [Table], table: &str, row: usize, column: &str) -> &'a Cell {
        let table = tables.iter().find(|it| it.name == table).expect("a table");
        let at = table.columns.iter().position(|it| it.name == column);
        &table.rows[row][at.expect("a column")]
    }

    fn snapshot() -> Snapshot {
        let mut measurement = sample::measurement();
        measurement.lines = Some(sample::lines());
        measurement.channels = Some(sample::channels());
        measurement.track = Some(Track {
            from: Seconds(1.0),
            step: Seconds(0.5),
            speed: vec![Some(Percent(-1.25)), None],
            flutter: vec![None, Some(Percent(0.123_456))],
        });
        let mut snapshot = Snapshot::new(Label::Before, "line in", measurement);
        snapshot.tolerance = Some(Percent(2.0));
        snapshot
    }

    /// Every figure of a table is somewhere in the object: a place that is
    /// misspelt would leave its column empty for ever.
    #[test]
    fn every_figure_is_found_in_the_object() {
        let snapshot = snapshot();
        let mut object = Taken::of(&snapshot).object;
        // What this one does not have.
        let place = serde_json::json!({"deviation_percent": 1.0, "uncertainty_percent": 1.0});
        object["along"] = serde_json::json!({
            "start": place, "middle": place, "end": place,
            "change_percent": 1.0, "change_uncertainty_percent": 1.0,
        });
        object["speed"]["uncertainty_parts"]["partials_percent"] = 1.0.into();
        for [name, at, _] in figures(READINGS) {
            assert!(object.pointer(at).is_some(), "{name}: {at}");
        }
        for [name, at, _] in figures(LINES) {
            assert!(object["lines"][0].pointer(at).is_some(), "{name}: {at}");
        }
        let sweep = json::sweep(&sample::sweep());
        for [name, at, _] in figures(WIPER) {
            assert!(sweep.pointer(at).is_some(), "{name}: {at}");
        }
        for [name, at, _] in figures(SPOTS) {
            assert!(sweep["bad_spots"][0].pointer(at).is_some(), "{name}: {at}");
        }
    }

    #[test]
    fn a_job_becomes_rows() {
        let snapshot = snapshot();
        let mut job = Job::default();
        job.snapshots = vec![snapshot.clone(), snapshot];
        job.snapshots[1].simulated = true;
        job.simulated = true;
        let mut report = sample::sweep();
        report.picture.step = Seconds(0.1);
        report.picture.speed = vec![Some(Percent(1.0))];
        let at = job.snapshots[0].taken_at;
        job.wipers = vec![WiperCheck { at, report }];
        let tables = of_job(&job);
        let text = |text: &str| Cell::Text(text.to_owned());
        let is = |table, row, column, expected: Cell| {
            assert_eq!(*cell(&tables, table, row, column), expected, "{column}");
        };
        is("readings", 1, "kept_as", text("before"));
        is("readings", 0, "deviation_percent", Cell::Number(-1.231_746));
        is("readings", 0, "uncertainty_percent", Cell::Number(0.0112));
        is(
            "readings",
            0,
            "uncertainty_with_reference_percent",
            Cell::None,
        );
        // In the band that was in force, not the usual one.
        is("readings", 0, "verdict", text("right_by_this_tape"));
        is("readings", 0, "cautions", text("reference_error_unknown"));
        is("lines", 1, "part", text("capstan"));
        is("lines", 1, "other_parts", text("belt ×3 0.05"));
        is("speed", 0, "time_s", Cell::Number(1.25));
        is("speed", 3, "deviation_percent", Cell::None);
        is("speed", 1, "simulated", text("no"));
        is("speed", 2, "simulated", text("yes"));
        for table in ["wiper", "wiper_spots", "wiper_speed"] {
            is(table, 0, "simulated", text("yes"));
        }
        is("flutter", 1, "weighted_peak_percent", Cell::Number(0.1235));
        for table in &tables {
            // Each may go its way as a file of its own.
            let of_figures = !["notes", "corrections"].contains(&table.name);
            let says = table.columns.iter().any(|it| it.name == "simulated");
            assert_eq!(says, of_figures, "{}", table.name);
            for row in &table.rows {
                assert_eq!(row.len(), table.columns.len(), "{}", table.name);
            }
        }
    }
}
