//! The list of kept snapshots, oldest first: a line each, the note below it.
//! Fits 80 columns.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::numbers::plain;
use super::sweep::headline;
use super::words::{NONE, cut, deviation, padded, wrapped};
use crate::records::Snapshot;

/// Widths of the columns whose text is the user's.
const MACHINE: usize = 16;
const LABEL: usize = 10;

/// Under the time, not under the number.
const INDENT: &str = "      ";

/// The table; `numbered` are snapshots with the number that the user calls
/// them by. Times are shown in `zone`.
pub fn table(numbered: &[(usize, &Snapshot)], zone: &TimeZone) -> String {
    let mut text = format!(
        "{:>4}  {:<16}  {:<MACHINE$}  {:<LABEL$} {:<15} {}\n",
        "no.", "taken", "machine", "kept as", "speed %", "w.flutter %"
    );
    for (number, snapshot) in numbered {
        text.push_str(&line(*number, snapshot, zone));
    }
    text
}

fn line(number: usize, snapshot: &Snapshot, zone: &TimeZone) -> String {
    let measurement = &snapshot.measurement;
    let taken = time(snapshot, zone);
    let machine = snapshot.machine.as_deref().map_or(NONE.to_owned(), plain);
    let speed = measurement
        .speed
        .as_ref()
        .map_or(NONE.to_owned(), deviation);
    let flutter = measurement
        .flutter
        .weighted_two_sigma
        .map_or(NONE.to_owned(), |flutter| format!("{:.3}", flutter.0));
    let machine = padded(&cut(&machine, MACHINE), MACHINE);
    let label = cut(&plain(&snapshot.label.to_string()), LABEL);
    let label = padded(&label, LABEL);
    let mut text = format!("{number:>4}  {taken:<16}  {machine}  {label} {speed:<15} {flutter}\n");
    if snapshot.simulated {
        text.push_str(&wrapped(INDENT, "SIMULATED"));
    }
    let around = around(snapshot);
    if !around.is_empty() {
        text.push_str(&wrapped(INDENT, &around));
    }
    if let Some(note) = &snapshot.note {
        text.push_str(&wrapped(INDENT, &plain(note)));
    }
    text
}

/// Where on the tape, at which speed and supply, how the wiper was; empty where nobody said.
fn around(snapshot: &Snapshot) -> String {
    let reference = &snapshot.measurement.conditions.reference;
    let said = [
        reference
            .recorded_here
            .then(|| "tape made on this machine: judges nothing".to_owned()),
        snapshot.run.map(|run| run.to_string()),
        snapshot
            .position
            .map(|position| format!("{} of the tape", position.name())),
        snapshot
            .supply_volts
            .map(|volts| format!("supply {volts} V")),
        snapshot
            .wiper
            .as_ref()
            .map(|report| format!("wiper {}", headline(report))),
    ];
    said.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// When it was taken, on the clock on the wall.
pub(super) fn time(snapshot: &Snapshot, zone: &TimeZone) -> String {
    moment(snapshot.taken_at, zone)
}

/// A day and the time of it.
pub(super) fn moment(at: Timestamp, zone: &TimeZone) -> String {
    let zoned = at.to_zoned_datetime(zone.clone());
    zoned.strftime("%Y-%m-%d %H:%M").to_string()
}

/// A day.
pub(super) fn day(at: Timestamp, zone: &TimeZone) -> String {
    let zoned = at.to_zoned_datetime(zone.clone());
    zoned.strftime("%Y-%m-%d").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Position;
    use crate::records::{Direction, Label, Run};
    use crate::report::sample;
    use crate::report::words::COLUMNS;

    #[test]
    fn a_line_shows_what_tells_snapshots_apart() {
        let mut snapshot = Snapshot::new(Label::Before, "input", sample::measurement());
        snapshot.taken_at = "2026-03-01T11:05:00Z".parse().expect("a time");
        snapshot.machine = Some("kitchen portable".to_owned());
        snapshot.position = Some(Position::Start);
        snapshot.run = Some(Run {
            speed_cm_s: Some(9.5),
            direction: Some(Direction::Reverse),
        });
        snapshot.supply_volts = Some(2.9);
        snapshot.note = Some("new belt, motor oiled, pinch roller cleaned twice".to_owned());
        let mut other = snapshot.clone();
        other.label = Label::Named("a\u{1b}[2Jb".to_owned());
        other.machine = Some("kitchen portable of aunt".to_owned());
        other.note = None;
        other.position = None;
        other.run = None;
        other.supply_volts = None;
        other.simulated = true;
        other.measurement = sample::without_tone();
        let text = table(&[(3, &snapshot), (14, &other)], &TimeZone::UTC);
        let expected = concat!(
            " no.  taken             machine           kept as    speed %         w.flutter %\n",
            "   3  2026-03-01 11:05  kitchen portable  before     -1.232 ±0.012   0.121\n",
            "      9.5 cm/s reverse, start of the tape, supply 2.9 V\n",
            "      new belt, motor oiled, pinch roller cleaned twice\n",
            "  14  2026-03-01 11:05  kitchen portabl…  a\\u001b[2… –               –\n",
            "      SIMULATED\n",
        );
        assert_eq!(text, expected);
        assert!(text.lines().all(|line| line.chars().count() <= COLUMNS));
    }
}
