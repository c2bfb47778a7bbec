//! Keeps the snapshots of a sitting in a record, on a thread of its own: a
//! disk may take seconds, and the needle must not wait for it.

use std::io;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::{self, JoinHandle};

use super::tape::today;
use super::{Exit, Failure, machine_parts, no_folder};
use crate::readings::Origin;
use crate::records::cards::CardError;
use crate::records::{
    Label, LinesError, LinesWarning, Record, Snapshot, cards,
    places::{self, Places},
};
use crate::references::parts::PartsCard;
use crate::references::same_machine;
use crate::screen::{Event, Kept, Lesson, Slot, SourceKind};

/// What waits to be written.
enum Work {
    Snapshot(Box<Kept>),
    Lesson(Box<Lesson>),
}

/// The thread that saves, and what it has to say.
pub(super) struct Saving {
    waiting: Sender<Work>,
    done: Receiver<Event>,
    thread: JoinHandle<()>,
}

impl Saving {
    /// Fails only where the system has no thread to give.
    pub(super) fn start(keeper: Keeper) -> io::Result<Self> {
        let (waiting, to_save) = channel::<Work>();
        let (say, done) = channel();
        let save_all = move || {
            for work in to_save {
                let done = match work {
                    Work::Snapshot(kept) => Event::Saved(kept.number, keeper.save(*kept)),
                    Work::Lesson(lesson) => Event::Learnt(Box::new(keeper.learn(&lesson))),
                };
                if say.send(done).is_err() {
                    return;
                }
            }
        };
        let thread = thread::Builder::new()
            .name("keeper".into())
            .spawn(save_all)?;
        Ok(Self {
            waiting,
            done,
            thread,
        })
    }

    /// Saves it as soon as what was given before is saved; what comes of it at
    /// once.
    pub(super) fn save(&self, kept: Kept) -> Option<Event> {
        let number = kept.number;
        let refused = self.waiting.send(Work::Snapshot(Box::new(kept))).err();
        refused.map(|_| Event::Saved(number, Err(STOPPED.to_owned())))
    }

    /// Puts a part on the card of a machine, likewise.
    pub(super) fn learn(&self, lesson: Lesson) -> Option<Event> {
        let refused = self.waiting.send(Work::Lesson(Box::new(lesson))).err();
        refused.map(|_| Event::Learnt(Box::new(Err(STOPPED.to_owned()))))
    }

    /// What was saved since it was asked last; never waits.
    pub(super) fn next_done(&self) -> Option<Event> {
        self.done.try_recv().ok()
    }

    /// Waits until everything is saved.
    pub(super) fn finish(self) -> Vec<Event> {
        drop(self.waiting);
        let rest = self.done.iter().collect();
        // A panic of it has been reported on the shell already.
        let _ = self.thread.join();
        rest
    }
}

const STOPPED: &str = "what writes the record has stopped";

/// Keeps snapshots in a record, and cards beside it.
pub(super) struct Keeper {
    places: Places,
    path: PathBuf,
    simulated: bool,
}

impl Keeper {
    /// The record must be usable before anything is measured; what is odd
    /// about it comes back as a message.
    pub(super) fn open(
        places: &Places,
        kind: SourceKind,
    ) -> Result<(Self, Option<String>), Failure> {
        let simulated = kind == SourceKind::Rehearsal;
        let usual = if simulated {
            places::Kind::Rehearsal
        } else {
            places::Kind::Measured
        };
        let path = places.record(usual).ok_or_else(no_folder)?;
        let unusable = |error: LinesError| Failure::new(Exit::File, error.to_string());
        let (record, warnings) = Record::open(&path).map_err(unusable)?;
        record.check_place().map_err(unusable)?;
        let news = warnings.first().map(LinesWarning::to_string);
        let places = places.clone();
        let keeper = Self {
            places,
            path,
            simulated,
        };
        Ok((keeper, news))
    }

    /// The card with the part on it, and where it lies now, or why it does not.
    /// It grows from what the disk holds now, and what stood there before stays
    /// beside it: a person may have written it, with remarks.
    fn learn(&self, lesson: &Lesson) -> Result<(PartsCard, String), String> {
        if self.simulated {
            return Err("what is simulated goes on no card of a real machine".to_owned());
        }
        let said = |error: CardError| error.to_string();
        let known = machine_parts::of_machine(&self.places, &lesson.machine);
        let is_new = known.is_none();
        let (path, card) = if let Some((path, card)) = known {
            (path, card.map_err(said)?)
        } else {
            if lesson.machine.to_lowercase().ends_with(".toml") {
                return Err("a machine's card needs a plain name: m names it anew".to_owned());
            }
            let path = cards::file_of::<PartsCard>(&self.places, &lesson.machine);
            (path.map_err(said)?, PartsCard::new(&lesson.machine))
        };
        let card = lesson.learnt(card, today())?;
        if !is_new {
            let before = path.with_extension("toml.before");
            std::fs::copy(&path, &before)
                .map_err(|error| format!("cannot keep {} first: {error}", before.display()))?;
        }
        cards::write(&path, &card, !is_new).map_err(said)?;
        Ok((card, path.display().to_string()))
    }

    /// Where it lies now, or why it does not. The record is read again each
    /// time, since another program may have added to it.
    fn save(&self, kept: Kept) -> Result<String, String> {
        let (mut record, _) = Record::open(&self.path).map_err(|error| error.to_string())?;
        let (label, position) = match kept.slot {
            Slot::Before => (Label::Before, None),
            Slot::After => (Label::After, None),
            Slot::Along(position) => (Label::Named(position.name().to_owned()), Some(position)),
            Slot::Named(name) => (Label::Named(name), None),
        };
        let mut snapshot = Snapshot::new(label, kept.source, (*kept.measurement).clone());
        if let Some(card) = &kept.tape {
            snapshot.tape = Some(card.name.clone());
        }
        let card = kept.tape.as_ref().and_then(|it| it.recorded_on.as_deref());
        let ident = kept
            .measurement
            .ident
            .as_ref()
            .map(|it| it.machine.as_str());
        let said = kept.recorded_on.as_deref();
        if let Some(said) = said {
            let said = Origin::Said(said.to_owned());
            snapshot.measurement.answer_where_recorded(&said);
        }
        if [card, ident, said]
            .iter()
            .any(|it| same_machine(*it, kept.machine.as_deref()))
        {
            // The machine may have got its name only after it was begun.
            snapshot.measurement.tell_recorded_here();
        }
        snapshot.tolerance = Some(kept.tolerance.half_width);
        snapshot.machine = kept.machine;
        snapshot.note = kept.note;
        snapshot.simulated = self.simulated;
        snapshot.position = position;
        snapshot.run = kept.run;
        snapshot.supply_volts = kept.supply_volts;
        snapshot.wiper = kept.wiper.map(|report| report.without_picture());
        snapshot.wiper_at_first = kept.wiper_at_first.map(|report| report.without_picture());
        snapshot.wiper_cleanings = kept.wiper_cleanings;
        let warning = record
            .append(&snapshot)
            .map_err(|error| error.to_string())?;
        let place = self.path.display();
        Ok(match warning {
            Some(warning) => format!("{place}; {warning}"),
            None => place.to_string(),
        })
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::references::parts::HeardAt;
    use crate::units::Percent;
    use std::sync::Arc;

    fn kept(number: u32) -> Kept {
        Kept {
            number,
            slot: Slot::Named(format!("number {number}")),
            measurement: Arc::new(crate::readings::Measurement::clone(&invented())),
            tolerance: crate::references::Tolerance::default(),
            machine: None,
            note: None,
            supply_volts: None,
            tape: None,
            recorded_on: None,
            run: None,
            wiper: None,
            wiper_at_first: None,
            wiper_cleanings: None,
            source: "line in".to_owned(),
            saved: false,
            saving: true,
        }
    }

    fn invented() -> crate::readings::Measurement {
        use crate::readings::{ChannelChoice, Conditions, Engine, Settings};
        let engine = Engine::new(Settings {
            rate_hz: 48_000,
            channels: 1,
            choice: ChannelChoice::Auto,
            conditions: Conditions::default(),
            tolerance: crate::units::Percent(0.5),
        });
        engine.expect("a usual format").measurement()
    }

    fn saving_in(folder: &Path) -> Saving {
        let places = Places::in_folder(folder.to_owned());
        let (keeper, _) = Keeper::open(&places, SourceKind::Input).expect("a record");
        Saving::start(keeper).expect("a thread")
    }

    #[test]
    fn everything_given_is_saved_before_it_ends_in_order() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("snapshots.jsonl");
        let saving = saving_in(folder.path());
        for number in 1..=5 {
            assert!(saving.save(kept(number)).is_none());
        }
        let saved = saving.finish().into_iter().map(|done| match done {
            Event::Saved(number, Ok(_)) => number,
            _ => panic!("not saved"),
        });
        assert_eq!(saved.collect::<Vec<u32>>(), [1, 2, 3, 4, 5]);
        let (record, _) = Record::open(&path).expect("a record");
        let labels: Vec<String> = record
            .list()
            .iter()
            .map(|it| it.label.to_string())
            .collect();
        assert_eq!(labels.len(), 5);
        assert_eq!(labels[4], "number 5");
    }

    #[test]
    fn what_cannot_be_saved_comes_back_with_the_reason() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("snapshots.jsonl");
        let saving = saving_in(folder.path());
        // A folder in the place of the record.
        std::fs::create_dir(&path).expect("room");
        assert!(saving.save(kept(1)).is_none());
        let done = saving.finish();
        assert!(
            matches!(&done[..], [Event::Saved(1, Err(reason))] if reason.contains("snapshots.jsonl"))
        );
    }

    fn lesson(part: &str) -> Lesson {
        let line = serde_json::json!({
            "hz": 7.6, "hz_uncertainty": 0.002, "peak": 0.1, "peak_uncertainty": 0.002,
            "weighted_share": 0.5
        });
        Lesson {
            machine: "bench deck".to_owned(),
            part: part.to_owned(),
            harmonic: 1,
            line: serde_json::from_value(line).expect("a line"),
            at: HeardAt::new(
                Percent(0.0),
                Some(Percent(0.05)),
                Some(Percent(0.1)),
                false,
                None,
            ),
        }
    }

    fn learnt(folder: &Path, kind: SourceKind, part: &str) -> Result<(PartsCard, String), String> {
        let places = Places::in_folder(folder.to_owned());
        let (keeper, _) = Keeper::open(&places, kind).expect("a record");
        let saving = Saving::start(keeper).expect("a thread");
        assert!(saving.learn(lesson(part)).is_none());
        match saving.finish().pop() {
            Some(Event::Learnt(result)) => *result,
            _ => panic!("nothing came of it"),
        }
    }

    /// A person may have written it, under another name than its file's.
    #[test]
    fn learning_keeps_what_a_person_wrote() {
        let folder = tempfile::tempdir().expect("a folder");
        let parts = folder.path().join("parts");
        std::fs::create_dir(&parts).expect("room");
        let path = parts.join("Bench Deck.toml");
        let by_hand = "# mine\nparts_card = 1\nname = \"the big one\"\n[[part]]\nname = \"motor\"\n\
            turns_per_second = 33.0\n";
        std::fs::write(&path, by_hand).expect("room");
        let (card, place) = learnt(folder.path(), SourceKind::Input, "capstan").expect("learnt");
        assert_eq!(place, path.display().to_string());
        assert!(
            card.part("motor").is_some() && card.part("capstan").is_some(),
            "{card:?}"
        );
        let before = std::fs::read_to_string(path.with_extension("toml.before"));
        assert_eq!(before.expect("kept"), by_hand);
        // What is broken is not written over.
        std::fs::write(&path, "parts_card = 9").expect("room");
        let refused = learnt(folder.path(), SourceKind::Input, "belt").expect_err("broken");
        assert!(refused.contains("Bench Deck.toml"), "{refused}");
        assert_eq!(
            std::fs::read_to_string(&path).expect("there"),
            "parts_card = 9"
        );
    }

    #[test]
    fn what_is_simulated_goes_on_no_card() {
        let folder = tempfile::tempdir().expect("a folder");
        assert!(learnt(folder.path(), SourceKind::Rehearsal, "capstan").is_err());
        assert!(learnt(folder.path(), SourceKind::Input, "capstan").is_ok());
        assert!(folder.path().join("parts").join("bench-deck.toml").exists());
    }
}
