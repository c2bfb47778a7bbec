//! What wavers: the newest lines of flutter held against a card of parts, the
//! causes that they speak for, and what the keys of their page do.

use std::sync::Arc;

use super::overlay::Overlay;
use super::view::View;
use super::{Effect, Entry, EntryFor, ScreenState, Slot, SourceKind};
use crate::readings::{
    DROPOUTS_ALLOWED, FlutterLine, FlutterLines, LineMotion, Measurement, Reading, SpeedReading,
    Verdict,
};
use crate::references::evidence::Situation;
use crate::references::faults::{LikelyFault, likely};
use crate::references::parts::{HeardAt, Naming, PartsCard, attribute, generic};
use crate::references::same_machine;

/// A line is the same one within this, from look to look. A choice.
const SAME_LINE: f64 = 0.02;

/// A card is for this speed within this. A choice.
const SAME_SPEED: f64 = 0.05;

/// "capstan x2": the part, and how often a turn.
fn part_and_harmonic(named: &str) -> (String, u32) {
    let parted = named.rsplit_once(" x");
    let times = parted.and_then(|(part, times)| Some((part.trim(), times.parse().ok()?)));
    match times {
        Some((part, times)) if times > 0 && !part.is_empty() => (part.to_owned(), times),
        _ => (named.to_owned(), 1),
    }
}

/// See the module.
#[derive(Clone, Debug, Default)]
pub struct Wavering {
    /// Cards to choose from: those of this bench, then the generic ones.
    pub(in crate::screen) cards: Vec<PartsCard>,
    /// The one that a key took last, by its place among them.
    chosen: Option<usize>,
    /// As the analysis gave them.
    measured: Option<Arc<FlutterLines>>,
    /// With the parts that they may come from.
    pub(in crate::screen) lines: Option<FlutterLines>,
    /// The line that the keys act on, counted from 0.
    pub(in crate::screen) marked: usize,
    /// The rate of the line that is being named, and the part on the card whose
    /// rate it would replace, once that was said.
    naming_hz: f64,
    replacing: Option<String>,
}

/// A part to be put on the card of a machine.
#[derive(Clone, Debug)]
pub struct Lesson {
    /// Whose card.
    pub machine: String,
    /// The part.
    pub part: String,
    /// How often a turn the line comes.
    pub harmonic: u32,
    /// The line that it makes.
    pub line: FlutterLine,
    /// At which speed it was heard.
    pub at: HeardAt,
}

impl Lesson {
    /// The card with the part on it; `day` is today.
    pub fn learnt(&self, mut card: PartsCard, day: String) -> Result<PartsCard, String> {
        card.learn(&self.part, &self.line, self.harmonic, &self.at, day)
            .map_err(|why| why.to_string())?;
        card.checked().map_err(|error| error.to_string())
    }
}

impl Wavering {
    /// With the card in use and the cards of this bench.
    pub(in crate::screen) fn new(used: Option<&PartsCard>, own: Vec<PartsCard>) -> Self {
        let mut cards = own;
        cards.extend_from_slice(generic());
        if let Some(used) = used
            && !cards.iter().any(|card| card.name == used.name)
        {
            cards.insert(0, used.clone());
        }
        Self {
            cards,
            ..Self::default()
        }
    }
}

impl ScreenState {
    /// Opens the page, or closes it.
    pub(in crate::screen) fn lines_page(&mut self) -> Vec<Effect> {
        if self.is_checking() {
            return self.say("end the check first, or stop it: Esc");
        }
        self.view = match self.view {
            View::Lines => View::Bench,
            View::Bench | View::Wiper | View::Contact | View::Supply => View::Lines,
        };
        Vec::new()
    }

    /// The line that the keys act on.
    pub(in crate::screen) fn marked_line(&self) -> Option<&FlutterLine> {
        let lines = &self.wavering.lines.as_ref()?.lines;
        lines.get(self.wavering.marked).or(lines.last())
    }

    pub(in crate::screen) fn mark_next_line(&mut self) -> Vec<Effect> {
        let count = (self.wavering.lines.as_ref()).map_or(0, |it| it.lines.len());
        if count == 0 {
            return self.say("no line to mark yet");
        }
        self.wavering.marked = (self.wavering.marked + 1) % count;
        Vec::new()
    }

    /// The next card of parts, and after the last none.
    pub(in crate::screen) fn next_parts_card(&mut self) -> Vec<Effect> {
        let wavering = &mut self.wavering;
        let used = self.parts.as_ref();
        let at = wavering
            .chosen
            .or_else(|| used.and_then(|now| wavering.cards.iter().position(|it| it == now)));
        let next = at.map_or(0, |at| at + 1);
        wavering.chosen = (next < wavering.cards.len()).then_some(next);
        let card = wavering.cards.get(next).cloned();
        self.use_parts(card);
        Vec::new()
    }

    fn use_parts(&mut self, card: Option<PartsCard>) {
        let said = match &card {
            Some(card) if card.generic => {
                format!("{}: tolerances are wide, a part is only a hint", card.name)
            }
            Some(card) => format!("held against the parts card {}", card.name),
            None => "held against no parts card".to_owned(),
        };
        self.parts = card;
        self.hold_against_parts();
        self.message = Some(said);
    }

    /// The card that the lines are held against: not that of another speed.
    pub(in crate::screen) fn card_in_force(&self) -> Option<&PartsCard> {
        let speed_cm_s = self.runs.on().and_then(|run| run.speed_cm_s);
        self.parts.as_ref().filter(|card| {
            let both = speed_cm_s.zip(card.speed_cm_s);
            both.is_none_or(|(run, card)| (run / card - 1.0).abs() < SAME_SPEED)
        })
    }

    /// The machine has another name: its own card is taken, where there is one,
    /// and that of the one before is put away.
    pub(in crate::screen) fn follow_machine_parts(&mut self, before: Option<&str>) {
        if same_machine(before, self.machine.as_deref()) {
            return;
        }
        let is_of = |card: &PartsCard, machine: Option<&str>| {
            !card.generic && same_machine(Some(&card.name), machine)
        };
        let used = self.parts.as_ref();
        if used.is_some_and(|card| !is_of(card, before)) {
            // Somebody has chosen it.
            return;
        }
        let mut cards = self.wavering.cards.iter();
        self.parts = cards
            .find(|card| is_of(card, self.machine.as_deref()))
            .cloned();
        self.wavering.chosen = None;
        self.hold_against_parts();
    }

    /// Asks which part makes the marked line, for the card of this machine.
    pub(in crate::screen) fn name_line(&mut self) -> Vec<Effect> {
        if self.machine.is_none() {
            return self.say("name the machine first (m): its card gets the part");
        }
        let Some((lines, line)) = self.wavering.lines.as_ref().zip(self.marked_line()) else {
            return self.say("no line to name yet");
        };
        if line.motion == LineMotion::KeepsRate {
            return self.say("that line keeps its rate when the speed is trimmed: no part");
        }
        let likely = Naming::of(lines, line).parts().first().map(|part| {
            let times = match part.harmonic {
                1 => String::new(),
                more => format!(" x{more}"),
            };
            part.name.clone() + &times
        });
        self.wavering.naming_hz = line.hz.0;
        self.wavering.replacing = None;
        self.cover(Overlay::Entry(Entry {
            purpose: EntryFor::Part,
            text: likely.unwrap_or_default(),
        }))
    }

    /// A part was named: it joins the card of this machine. One whose rate is
    /// known is asked for once more.
    pub(in crate::screen) fn learn_part(&mut self, named: Option<String>) -> Vec<Effect> {
        let (Some(named), Some(machine)) = (named, self.machine.clone()) else {
            return Vec::new();
        };
        let (part, harmonic) = part_and_harmonic(&named);
        let hz = self.wavering.naming_hz;
        let lines = self.wavering.lines.iter().flat_map(|it| &it.lines);
        let mut still = lines.filter(|line| (line.hz.0 / hz - 1.0).abs() < SAME_LINE);
        let Some(line) = still.next().cloned() else {
            return self.say(format!(
                "the line at {hz:.2} a second is gone; nothing was learnt"
            ));
        };
        let Some(speed) = self.reading().and_then(|reading| reading.speed) else {
            return self.say("no speed to reckon the rate at; nothing was learnt");
        };
        let known = (self.parts.as_ref())
            .and_then(|card| card.part(&part)?.turns_per_second)
            .filter(|_| self.wavering.replacing.as_ref() != Some(&named));
        if let Some(known) = known {
            self.wavering.replacing = Some(named.clone());
            self.message = Some(format!(
                "{part} is on the card with {known:.3} turns a second: Enter replaces it, Esc does not"
            ));
            return self.cover(Overlay::Entry(Entry {
                purpose: EntryFor::Part,
                text: named,
            }));
        }
        let lesson = Lesson {
            machine,
            part,
            harmonic,
            at: self.heard_at(&speed),
            line,
        };
        if self.kind != SourceKind::Rehearsal {
            return vec![Effect::Learn(Box::new(lesson))];
        }
        // What is simulated goes on no real card.
        let card = self.parts.clone();
        let card = card.unwrap_or_else(|| PartsCard::new(&lesson.machine));
        let learnt = lesson.learnt(card, "in a rehearsal".to_owned());
        self.learnt(learnt.map(|card| (card, "for this rehearsal only".to_owned())));
        Vec::new()
    }

    /// An attempt to learn a part has ended: the card, and where it is.
    pub(in crate::screen) fn learnt(&mut self, result: Result<(PartsCard, String), String>) {
        let (card, place) = match result {
            Ok(learnt) => learnt,
            Err(reason) => {
                self.message = Some(format!("NOT LEARNT: {reason}"));
                return;
            }
        };
        let cards = &mut self.wavering.cards;
        cards.retain(|it| it.generic || it.name != card.name);
        cards.insert(0, card.clone());
        self.wavering.chosen = None;
        let hz = self.wavering.naming_hz;
        let said = format!(
            "learnt from {hz:.2} a second; the card: {}, {place}",
            card.name
        );
        self.use_parts(Some(card));
        self.message = Some(said);
    }

    /// Takes newer lines, where there are some.
    pub(in crate::screen) fn follow_lines(&mut self, reading: &Reading) {
        let same = match (&self.wavering.measured, &reading.lines) {
            (None, None) => true,
            (Some(before), Some(now)) => Arc::ptr_eq(before, now),
            _ => false,
        };
        if same {
            return;
        }
        // The mark stays at its line, wherever that stands now.
        let marked_hz = self.marked_line().map(|line| line.hz.0);
        self.wavering.measured.clone_from(&reading.lines);
        self.hold_against_parts();
        let lines = self.wavering.lines.iter().flat_map(|it| it.lines.iter());
        let nearest = marked_hz.and_then(|hz| {
            let away = |line: &FlutterLine| (line.hz.0 / hz).ln().abs();
            let nearest = lines
                .enumerate()
                .min_by(|a, b| away(a.1).total_cmp(&away(b.1)));
            nearest
                .filter(|(_, line)| away(line) < SAME_LINE)
                .map(|it| it.0)
        });
        self.wavering.marked = nearest.unwrap_or(0);
    }

    /// Works out parts and causes anew.
    pub(in crate::screen) fn hold_against_parts(&mut self) {
        let speed = self.reading().and_then(|reading| reading.speed);
        let mut lines = self.wavering.measured.as_deref().cloned();
        if let (Some(lines), Some(card), Some(speed)) = (&mut lines, self.card_in_force(), speed) {
            let at = self.heard_at(&speed);
            attribute(lines, card, &at);
        }
        self.wavering.lines = lines;
    }

    fn heard_at(&self, speed: &SpeedReading) -> HeardAt {
        HeardAt::new(
            speed.deviation,
            speed.uncertainty,
            speed.uncertainty_with_reference,
            self.is_recorded_here(),
            None,
        )
    }

    /// What everything that is known now speaks for, likeliest first.
    pub(in crate::screen) fn likely_faults(&self) -> Vec<LikelyFault> {
        let Some(reading) = self.reading() else {
            return Vec::new();
        };
        let situation = Situation {
            tolerance: self.tolerance,
            verdict: reading
                .speed
                .map(|speed| Verdict::of_live(&speed, self.tolerance.half_width)),
            drift: reading.drift,
            flutter: Some(&reading.flutter),
            lines: self.wavering.lines.as_ref(),
            card: self.card_in_force(),
            channels: reading.channels,
            dropouts: reading.signal.dropouts > DROPOUTS_ALLOWED as u64,
            recorded_here: self.is_recorded_here(),
            wiper: self.newest_sweep().map(|report| report.verdict),
            no_trimmer: self.routine.has_no_trimmer(),
            follows_supply: self.follows_supply(),
            ..Situation::default()
        };
        likely(&situation.evidence())
    }

    /// What is kept carries the parts of its lines; a place along the tape tells
    /// how full the reels were.
    pub(in crate::screen) fn with_parts(
        &self,
        slot: &Slot,
        measurement: &Arc<Measurement>,
    ) -> Arc<Measurement> {
        let (Some(card), Some(speed)) = (self.card_in_force(), measurement.speed) else {
            return Arc::clone(measurement);
        };
        let mut measured = Measurement::clone(measurement);
        if let Some(lines) = &mut measured.lines {
            let place = match slot {
                Slot::Along(position) => Some(*position),
                Slot::Before | Slot::After | Slot::Named(_) => None,
            };
            let at = HeardAt::of(&speed, self.is_recorded_here(), place);
            attribute(lines, card, &at);
        }
        Arc::new(measured)
    }
}
