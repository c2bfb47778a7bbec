//! `tapewright snapshots`: lists and compares what was kept.

use jiff::tz::TimeZone;

use super::cli::{SnapshotsAction, SnapshotsOptions};
use super::{Exit, Failure, Outcome, no_folder};
use crate::records::{self, LinesError, LinesWarning, Record, Snapshot, jobs, places};
use crate::references::same_machine;
use crate::report::{comparison, listing};

/// A snapshot with the number that the list shows.
type Numbered<'a> = (usize, &'a Snapshot);

pub(super) fn run(options: &SnapshotsOptions) -> Outcome {
    let (kept, exit) = all_kept(options)?;
    let all: Vec<Numbered<'_>> = (1..).zip(&kept).collect();
    let of_machine: Vec<Numbered<'_>> = all
        .iter()
        .copied()
        .filter(|(_, snapshot)| is_of_machine(snapshot, options.machine.as_deref()))
        .collect();
    let text = match &options.action {
        None | Some(SnapshotsAction::List) if of_machine.is_empty() => nothing_kept(options),
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
    Ok(exit)
}

/// All snapshots by time: those of jobs, and those of the record that earlier
/// versions wrote. What cannot be read is told and does not stop the rest.
fn all_kept(options: &SnapshotsOptions) -> Result<(Vec<Snapshot>, Exit), Failure> {
    let (places, kind) = (options.data.places(), kind(options));
    let mut kept = Vec::new();
    let mut exit = Exit::Done;
    let mut take = |opened: Result<(&[Snapshot], &[LinesWarning]), &LinesError>| match opened {
        Ok((snapshots, warnings)) => {
            kept.extend_from_slice(snapshots);
            for warning in warnings {
                super::complain(&warning.to_string());
            }
        }
        Err(error) => {
            super::complain(&error.to_string());
            exit = Exit::File;
        }
    };
    let record = Record::open(places.record(kind).ok_or_else(no_folder)?);
    take(
        record
            .as_ref()
            .map(|(record, warnings)| (record.list(), &warnings[..])),
    );
    for (_, job) in jobs::list(&places, kind) {
        let job = job.as_ref();
        take(job.map(|(file, warnings)| (&file.job().snapshots[..], &warnings[..])));
    }
    kept.sort_by_key(|snapshot| snapshot.taken_at);
    Ok((kept, exit))
}

fn kind(options: &SnapshotsOptions) -> places::Kind {
    if options.rehearsal {
        places::Kind::Rehearsal
    } else {
        places::Kind::Measured
    }
}

fn is_of_machine(snapshot: &Snapshot, wanted: Option<&str>) -> bool {
    wanted.is_none() || same_machine(snapshot.machine.as_deref(), wanted)
}

fn nothing_kept(options: &SnapshotsOptions) -> String {
    let machine = options.machine.as_deref();
    let of = machine.map_or(String::new(), |name| format!(" of \"{name}\""));
    let folder = options.data.places().jobs(kind(options));
    let within = folder.map_or(String::new(), |it| format!(" in {}", it.display()));
    format!("No snapshots{of}{within} yet; tapewright watch keeps them.\n")
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

/// The two that [`records::newest_pair`] finds, with their numbers.
fn newest_pair<'a>(snapshots: &[Numbered<'a>]) -> Result<(Numbered<'a>, Numbered<'a>), Failure> {
    let both = records::newest_pair(snapshots.iter().map(|(_, snapshot)| *snapshot));
    let number = |wanted: &Snapshot| {
        let mut all = snapshots.iter().copied();
        all.find(|(_, it)| std::ptr::eq(*it, wanted))
    };
    let both = both.and_then(|[before, after]| Some((number(before)?, number(after)?)));
    both.ok_or_else(|| {
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
