//! `tapewright snapshots`: lists and compares what was kept.

use std::path::PathBuf;

use jiff::tz::TimeZone;

use super::cli::{SnapshotsAction, SnapshotsOptions};
use super::{Exit, Failure, Outcome, no_folder};
use crate::records::{Label, Record, Snapshot, places};
use crate::references::same_machine;
use crate::report::{comparison, listing};

/// A snapshot with the number that the list shows.
type Numbered<'a> = (usize, &'a Snapshot);

pub(super) fn run(options: &SnapshotsOptions) -> Outcome {
    let path = record_path(options)?;
    let (record, warnings) =
        Record::open(path).map_err(|error| Failure::new(Exit::File, error.to_string()))?;
    for warning in warnings {
        super::complain(&warning.to_string());
    }
    let all: Vec<Numbered<'_>> = (1..).zip(record.list()).collect();
    let of_machine: Vec<Numbered<'_>> = all
        .iter()
        .copied()
        .filter(|(_, snapshot)| is_of_machine(snapshot, options.machine.as_deref()))
        .collect();
    let text = match &options.action {
        None | Some(SnapshotsAction::List) if of_machine.is_empty() => {
            nothing_kept(&record, options.machine.as_deref())
        }
        None | Some(SnapshotsAction::List) => listing::table(&of_machine, &TimeZone::system()),
        Some(SnapshotsAction::Compare { numbers }) => {
            let (earlier, later) = match numbers[..] {
                [one, other] => (numbered(&all, one)?, numbered(&all, other)?),
                _ => newest_pair(&of_machine)?,
            };
            comparison::side_by_side(earlier, later, &TimeZone::system())
        }
    };
    super::say::write_words(&text)?;
    Ok(Exit::Done)
}

fn record_path(options: &SnapshotsOptions) -> Result<PathBuf, Failure> {
    let kind = if options.rehearsal {
        places::Kind::Rehearsal
    } else {
        places::Kind::Measured
    };
    options.data.places().record(kind).ok_or_else(no_folder)
}

fn is_of_machine(snapshot: &Snapshot, wanted: Option<&str>) -> bool {
    wanted.is_none() || same_machine(snapshot.machine.as_deref(), wanted)
}

fn is_one_machine(one: &Snapshot, other: &Snapshot) -> bool {
    let [one, other] = [one, other].map(|it| it.machine.as_deref());
    one == other || same_machine(one, other)
}

fn nothing_kept(record: &Record, machine: Option<&str>) -> String {
    let of = machine.map_or(String::new(), |name| format!(" of \"{name}\""));
    format!(
        "No snapshots{of} in {} yet; tapewright watch keeps them.\n",
        record.path().display()
    )
}

fn numbered<'a>(all: &[Numbered<'a>], number: usize) -> Result<Numbered<'a>, Failure> {
    all.iter()
        .copied()
        .find(|(n, _)| *n == number)
        .ok_or_else(|| {
            let there_are = match all.len() {
                0 => "the record is empty".to_owned(),
                count => format!("the record has 1 to {count}"),
            };
            Failure::new(
                Exit::Usage,
                format!(
                    "there is no snapshot {number}; {there_are} (tapewright snapshots lists them)"
                ),
            )
        })
}

/// The newest after that has a before of the same machine, speed and direction
/// in front of it, and
/// the newest such before.
fn newest_pair<'a>(snapshots: &[Numbered<'a>]) -> Result<(Numbered<'a>, Numbered<'a>), Failure> {
    let before_of = |after: &Numbered<'a>| {
        snapshots.iter().copied().rfind(|(number, before)| {
            *number < after.0
                && before.label == Label::Before
                && is_one_machine(before, after.1)
                && before.run == after.1.run
        })
    };
    snapshots
        .iter()
        .copied()
        .rev()
        .filter(|(_, snapshot)| snapshot.label == Label::After)
        .find_map(|after| Some((before_of(&after)?, after)))
        .ok_or_else(|| {
            Failure::new(
                Exit::Usage,
                if snapshots.is_empty() {
                    "nothing is kept yet, so there is nothing to compare; tapewright watch keeps a before (b) and an after (a)"
                } else {
                    "there is no before and after of the same machine, speed and direction to compare; name two numbers of the list that tapewright snapshots shows"
                },
            )
        })
}
