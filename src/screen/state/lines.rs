//! What wavers: the newest lines of flutter held against a card of parts, the
//! causes that they speak for, and what the keys of their page do.

use std::sync::Arc;

use super::view::View;
use super::{Effect, Entry, EntryFor, ScreenState};
use crate::readings::{
    DROPOUTS_ALLOWED, FlutterLine, FlutterLines, LineMotion, Measurement, Reading, SpeedReading,
    Verdict,
};
use crate::references::evidence::Situation;
use crate::references::faults::{LikelyFault, likely};
use crate::references::parts::{HeardAt, PartsCard, attribute, generic};
use crate::references::same_machine;

/// See the module.
#[derive(Clone, Debug, Default)]
pub struct Wavering {
    /// Cards to choose from: those of this bench, then the generic ones.
    pub(in crate::screen) cards: Vec<PartsCard>,
    /// As the analysis gave them.
    measured: Option<Arc<FlutterLines>>,
    /// With the parts that they may come from.
    pub(in crate::screen) lines: Option<FlutterLines>,
    /// Likeliest first.
    pub(in crate::screen) faults: Vec<LikelyFault>,
    /// The line that the keys act on, counted from 0.
    pub(in crate::screen) marked: usize,
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
        let cards = &self.wavering.cards;
        let at = (self.parts.as_ref())
            .and_then(|now| cards.iter().position(|card| card.name == now.name));
        let next = cards.get(at.map_or(0, |at| at + 1)).cloned();
        self.use_parts(next);
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

    /// The machine has a name now: its own card is taken, where there is one.
    pub(in crate::screen) fn follow_machine_parts(&mut self) {
        let of_machine = |card: &&PartsCard| {
            !card.generic && same_machine(Some(&card.name), self.machine.as_deref())
        };
        if let Some(card) = self.wavering.cards.iter().find(of_machine).cloned() {
            self.parts = Some(card);
            self.hold_against_parts();
        }
    }

    /// Asks which part makes the marked line, for the card of this machine.
    pub(in crate::screen) fn name_line(&mut self) -> Vec<Effect> {
        if self.machine.is_none() {
            return self.say("name the machine first (m): its card gets the part");
        }
        let Some(line) = self.marked_line() else {
            return self.say("no line to name yet");
        };
        if line.motion == LineMotion::KeepsRate {
            return self.say("that line keeps its rate when the speed is trimmed: no part");
        }
        let likely = line.parts.first().map(|part| part.name.clone());
        self.overlay = Some(super::overlay::Overlay::Entry(Entry {
            purpose: EntryFor::Part,
            text: likely.unwrap_or_default(),
        }));
        Vec::new()
    }

    /// A part was named: it joins the card of this machine.
    pub(in crate::screen) fn learn_part(&mut self, named: Option<String>) -> Vec<Effect> {
        let (Some(name), Some(machine)) = (named, self.machine.clone()) else {
            return Vec::new();
        };
        let Some(line) = self.marked_line() else {
            return self.say("the line is gone; nothing was learnt");
        };
        let Some(speed) = self.reading().and_then(|reading| reading.speed) else {
            return self.say("no speed to reckon the rate at; nothing was learnt");
        };
        let own = |card: &&PartsCard| {
            !card.generic && same_machine(Some(&card.name), Some(machine.as_str()))
        };
        let card = self.wavering.cards.iter().find(own).cloned();
        let mut card = card.unwrap_or_else(|| PartsCard::new(&machine));
        let known = line.parts.iter().find(|part| part.name == name);
        let harmonic = known.map_or(1, |part| part.harmonic);
        let at = self.heard_at(&speed);
        card.learn(&name, line, harmonic, &at, "live".to_owned());
        match card.checked() {
            Ok(card) => vec![Effect::KeepParts(card)],
            Err(error) => self.say(format!("not learnt: {error}")),
        }
    }

    /// An attempt to write a card has ended.
    pub(in crate::screen) fn parts_kept(
        &mut self,
        card: PartsCard,
        result: Result<String, String>,
    ) {
        match result {
            Ok(place) => {
                let cards = &mut self.wavering.cards;
                cards.retain(|it| it.generic || !same_machine(Some(&it.name), Some(&card.name)));
                cards.insert(0, card.clone());
                self.use_parts(Some(card));
                self.message = Some(format!("learnt; the card is {place}"));
            }
            Err(reason) => self.message = Some(format!("NOT LEARNT: {reason}")),
        }
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
            nearest.filter(|(_, line)| away(line) < 0.02).map(|it| it.0)
        });
        self.wavering.marked = nearest.unwrap_or(0);
    }

    /// Works out parts and causes anew.
    pub(in crate::screen) fn hold_against_parts(&mut self) {
        let speed = self.reading().and_then(|reading| reading.speed);
        let mut lines = self.wavering.measured.as_deref().cloned();
        if let (Some(lines), Some(card), Some(speed)) = (&mut lines, &self.parts, speed) {
            let at = self.heard_at(&speed);
            attribute(lines, card, &at);
        }
        self.wavering.lines = lines;
        self.wavering.faults = self.likely_faults();
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

    fn likely_faults(&self) -> Vec<LikelyFault> {
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
            card: self.parts.as_ref(),
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

    /// What is kept carries the parts of its lines.
    pub(in crate::screen) fn with_parts(&self, measurement: &Arc<Measurement>) -> Arc<Measurement> {
        let (Some(card), Some(speed)) = (&self.parts, measurement.speed) else {
            return Arc::clone(measurement);
        };
        let mut measured = Measurement::clone(measurement);
        if let Some(lines) = &mut measured.lines {
            attribute(
                lines,
                card,
                &HeardAt::of(&speed, self.is_recorded_here(), None),
            );
        }
        Arc::new(measured)
    }
}
