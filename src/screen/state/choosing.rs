//! The list from which a reference is chosen: tones, what is typed in, and the
//! cards of reference tapes.

use std::str::FromStr;

use super::action::Action;
use super::overlay::Overlay;
use super::view::View;
use super::{Effect, EntryFor, Lead, ScreenState, SourceKind};
use crate::readings::{Conditions, Nominal, ReferenceKind, USUAL_TONES};
use crate::references::{Reference, TapeCard};

/// One line of the list.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::screen) enum Offer {
    /// One of the usual tones, or whichever is heard.
    Ready(Reference),
    /// The rest of it is typed.
    Typed(ReferenceKind),
    /// A card; boxed, for it is much larger.
    Card(Box<TapeCard>),
    /// The tape was made at home, and nobody knows how well.
    HomeMade,
    /// The machine that it was recorded on is typed.
    RecordedOn,
}

/// A reference that was chosen.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// What the tape carries.
    pub reference: Reference,
    /// The card of the tape.
    pub card: Option<TapeCard>,
    /// Without a card: it is home-made.
    pub home_made: bool,
    /// Nobody has said that it carries this; it is taken as is usual.
    pub is_assumed: bool,
}

impl Offer {
    /// As it stands in the list.
    pub fn words(&self) -> String {
        match self {
            Self::Ready(Reference::ToneAuto) => "any usual tone, as it is heard".to_owned(),
            Self::Ready(reference) => reference.to_string(),
            Self::Typed(kind) => format!("{} …  {}", kind.name(), hint(*kind)),
            Self::Card(card) => format!("tape: {}", card.name),
            Self::HomeMade => "a home-made tape, taken as \u{b1}3 %".to_owned(),
            Self::RecordedOn => "where the tape was recorded \u{2026}".to_owned(),
        }
    }
}

/// What is to be typed.
pub(in crate::screen) fn hint(kind: ReferenceKind) -> &'static str {
    match kind {
        ReferenceKind::Tone => "its frequency in Hz",
        ReferenceKind::Note => "a held note: A4, or A4@442",
        ReferenceKind::Passage => "its length at right speed in seconds",
        ReferenceKind::Marks => "seconds from one to the next",
        ReferenceKind::Recording => "file of the digital copy",
    }
}

/// Nobody has said which tone it is.
fn is_assumed(nominal: Nominal) -> bool {
    matches!(nominal, Nominal::Assumed(_))
}

impl ScreenState {
    /// Everything that can be chosen here: the simulated machine plays tones.
    pub(in crate::screen) fn offers(&self) -> Vec<Offer> {
        let ready = USUAL_TONES[..2].iter().map(|tone| Reference::Tone(*tone));
        let ready = ready.chain([Reference::ToneAuto]).map(Offer::Ready);
        let typed = Offer::Typed(ReferenceKind::Tone);
        let others = [
            Offer::Typed(ReferenceKind::Note),
            Offer::Typed(ReferenceKind::Passage),
            Offer::Typed(ReferenceKind::Marks),
            Offer::Typed(ReferenceKind::Recording),
            Offer::HomeMade,
            Offer::RecordedOn,
        ];
        let is_tape = self.kind != SourceKind::Rehearsal;
        let others = others.into_iter().filter(|_| is_tape);
        let cards = self.cards.iter().cloned().map(Box::new).map(Offer::Card);
        let offers = ready.chain([typed]).chain(others).chain(cards);
        // What is chosen now stands in the list as well, and first.
        let now = Offer::Ready(self.reference.clone());
        let mut all: Vec<Offer> = offers.collect();
        if !all.contains(&now) {
            all.insert(0, now);
        }
        all
    }

    /// Opens the list.
    pub(in crate::screen) fn open_choices(&mut self) -> Vec<Effect> {
        let now = Offer::Ready(self.reference.clone());
        let at = self.offers().iter().position(|it| *it == now);
        self.cover(Overlay::References(at.unwrap_or(0)))
    }

    pub(in crate::screen) fn move_choice(&mut self, down: bool) -> Vec<Effect> {
        self.move_in_job(if down { 1 } else { -1 });
        let last = self.offers().len().saturating_sub(1);
        if let Some(Overlay::References(at)) = &mut self.overlay {
            let above = at.saturating_sub(1);
            *at = if down { (*at + 1).min(last) } else { above };
        }
        Vec::new()
    }

    /// Takes what the mark stands on.
    pub(in crate::screen) fn take_choice(&mut self) -> Vec<Effect> {
        let at = match self.overlay.take() {
            Some(Overlay::References(at)) => at,
            Some(Overlay::Job(at)) => return self.take_job_row(at),
            _ => return Vec::new(),
        };
        let Some(offer) = self.offers().get(at).cloned() else {
            return Vec::new();
        };
        match offer {
            Offer::Ready(reference) => self.choose_on_this_tape(reference),
            Offer::HomeMade => self.choose(Choice {
                reference: self.reference.clone(),
                card: None,
                home_made: true,
                is_assumed: is_assumed(self.conditions.nominal),
            }),
            Offer::RecordedOn => self.act(Action::Type(EntryFor::RecordedOn)),
            Offer::Typed(kind) => self.act(Action::Type(EntryFor::Reference(kind))),
            Offer::Card(card) => self.choose_card(*card),
        }
    }

    /// A card that does not say what its tape carries holds for what was said; an
    /// answer that was given for the tape before does not go over to this one.
    fn choose_card(&mut self, card: TapeCard) -> Vec<Effect> {
        let now = || (self.conditions.nominal, self.reference.clone());
        let (nominal, said) = self.before_answer.clone().unwrap_or_else(now);
        let carries = card.reference();
        self.choose(Choice {
            is_assumed: carries.is_none() && is_assumed(nominal),
            reference: carries.unwrap_or(said),
            card: Some(card),
            home_made: false,
        })
    }

    /// What was typed behind the kind.
    pub(in crate::screen) fn take_reference(
        &mut self,
        kind: ReferenceKind,
        said: Option<&str>,
    ) -> Vec<Effect> {
        let Some(said) = said else {
            return self.say("nothing was typed: the reference stays");
        };
        match Reference::from_str(&format!("{}:{said}", kind.name())) {
            Ok(reference) => self.choose_on_this_tape(reference),
            Err(error) => self.say(error.to_string()),
        }
    }

    /// What is known of the tape stays, unless its card says that it carries
    /// something else.
    fn choose_on_this_tape(&mut self, reference: Reference) -> Vec<Effect> {
        let fits = |card: &&TapeCard| card.reference().is_none_or(|it| it == reference);
        let card = self.tape.as_ref().filter(fits).cloned();
        self.choose(Choice {
            home_made: self.conditions.reference.home_made,
            is_assumed: false,
            reference,
            card,
        })
    }

    /// Another name of the machine: its card may say that the tape was recorded
    /// on it, or that it was not.
    pub(in crate::screen) fn take_machine(&mut self, said: Option<String>) -> Vec<Effect> {
        let before = std::mem::replace(&mut self.machine, said);
        if before != self.machine {
            self.naming += 1;
        }
        self.follow_machine_parts(before.as_deref());
        let mut effects = self.follow_machine_job(before.as_deref());
        effects.extend(self.follow_machine_card());
        effects
    }

    /// The card of the tape tells by its name whether it was recorded on it.
    pub(in crate::screen) fn follow_machine_card(&mut self) -> Vec<Effect> {
        let machine = self.machine.as_deref();
        let is_as_before = self.tape.as_ref().is_none_or(|card| {
            card.is_recorded_on(machine) == self.conditions.reference.recorded_here
        });
        if is_as_before {
            return Vec::new();
        }
        self.choose(Choice {
            home_made: false,
            is_assumed: is_assumed(self.conditions.nominal),
            reference: self.reference.clone(),
            card: self.tape.clone(),
        })
    }

    fn choose(&mut self, choice: Choice) -> Vec<Effect> {
        if self.runs.are_several() {
            return self.say(
                "with several speeds or directions each has its own tone; leave, and start with \
                 --reference",
            );
        }
        if self.is_checking() {
            return self.say("a check is under way: Space ends it, Esc stops it, then choose");
        }
        if self.kind == SourceKind::Rehearsal && choice.reference.kind() != ReferenceKind::Tone {
            return self.say("the simulated machine plays a tone; choose one");
        }
        if choice.reference.kind() == ReferenceKind::Recording {
            if self.listening.is_some() {
                return self.say(
                    "another copy cannot be listened to beside the tape; leave and start with it",
                );
            }
            self.message = Some("reading the copy…".to_owned());
        }
        vec![Effect::Choose(choice, self.machine.clone())]
    }

    /// A check of the wiper or of contacts is under way.
    pub fn is_checking(&self) -> bool {
        self.is_sweeping() || self.is_checking_contact()
    }

    /// A reference that was chosen is in force from now on, or why it is not.
    pub fn reference_taken(&mut self, taken: Result<(Conditions, Choice), String>) {
        let (conditions, choice) = match taken {
            Ok(taken) => taken,
            Err(reason) => {
                self.message = Some(format!("the reference stays: {reason}"));
                return;
            }
        };
        let mut said = format!("measured by {}", choice.reference);
        if let Some(slot) = self.keeping.take() {
            said = format!("{} was not kept; {said}", slot.name());
        }
        self.long_run = None;
        self.heard.forget();
        self.view = View::Bench;
        self.conditions = Conditions {
            clock: self.conditions.clock,
            ..conditions
        };
        self.before_answer = None;
        if self.lead == Lead::Hertz && !conditions.kind.has_frequency() {
            self.lead = Lead::Percent;
        }
        match (&choice.card, &self.tape) {
            (Some(card), _) => said = format!("{said}, tape \"{}\"", card.name),
            (None, Some(card)) => {
                said = format!("{said}; the card of \"{}\" is put away", card.name);
            }
            (None, None) if choice.home_made => said.push_str(", home-made tape"),
            (None, None) => {}
        }
        self.tape = choice.card;
        self.reference = choice.reference;
        self.message = Some(said);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::{Action, specimen};
    use crate::units::{Hertz, Seconds};

    fn chosen(effects: &[Effect]) -> &Choice {
        match effects {
            [Effect::Choose(choice, _)] | [Effect::LookBack(_), Effect::Choose(choice, _)] => {
                choice
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_tone_is_chosen_from_the_list() {
        let mut state = specimen::state(SourceKind::Input);
        let _ = state.act(Action::Choose);
        let _ = state.act(Action::ChoiceDown);
        let effects = state.act(Action::TakeChoice);
        assert_eq!(chosen(&effects).reference, Reference::Tone(Hertz(3000.0)));
        assert_eq!(state.overlay, None);
    }

    fn take(state: &mut ScreenState, wanted: impl Fn(&Offer) -> bool) -> Vec<Effect> {
        let at = state.offers().iter().position(wanted);
        state.overlay = at.map(Overlay::References);
        assert!(state.overlay.is_some());
        state.act(Action::TakeChoice)
    }

    fn card(carries: Option<&str>) -> TapeCard {
        let carries = carries.map_or(String::new(), |it| format!("carries = \"{it}\"\n"));
        let speed = "error_percent = -0.2\nuncertainty_percent = 0.1\nfound = \"certificate\"\n\
            on = \"2026-11-26\"\n";
        let text = format!("tape_card = 1\nname = \"tape 3\"\n{carries}[speed]\n{speed}");
        TapeCard::from_toml(&text).expect("a card")
    }

    /// On the machine that the tape was recorded on it reads right at any speed,
    /// on another it does not.
    #[test]
    fn another_name_of_the_machine_is_held_against_the_card() {
        let mut state = specimen::state(SourceKind::Input);
        let mut tape = card(None);
        tape.recorded_on = Some("deck 2".to_owned());
        state.machine = Some("deck 2".to_owned());
        state.conditions.reference = tape.reference_error(state.machine.as_deref());
        state.tape = Some(tape);
        assert!(state.conditions.reference.recorded_here);
        assert!(state.take_machine(Some("Deck-2".to_owned())).is_empty());
        let effects = state.take_machine(Some("deck 4".to_owned()));
        assert!(chosen(&effects).card.is_some());
        assert_eq!(state.machine.as_deref(), Some("deck 4"));
    }

    /// A card that does not say what is on the tape holds for what is chosen,
    /// and stays while another tone is; one that says so is of another tape.
    #[test]
    fn a_card_stays_with_what_it_fits() {
        let mut state = specimen::state(SourceKind::Input);
        state.cards = vec![card(None)];
        let effects = take(&mut state, |it| matches!(it, Offer::Card(_)));
        assert_eq!(chosen(&effects).reference, state.reference);
        state.tape = Some(card(None));
        let tone = |it: &Offer| *it == Offer::Ready(Reference::Tone(Hertz(3000.0)));
        assert!(chosen(&take(&mut state, tone)).card.is_some());
        state.tape = Some(card(Some("tone:3150")));
        assert!(chosen(&take(&mut state, tone)).card.is_none());
    }

    #[test]
    fn a_tape_can_be_called_home_made_and_asked_where_it_was_recorded() {
        let mut state = specimen::state(SourceKind::Input);
        let effects = take(&mut state, |it| *it == Offer::HomeMade);
        let choice = chosen(&effects);
        assert!(choice.home_made && choice.reference == state.reference);
        assert!(take(&mut state, |it| *it == Offer::RecordedOn).is_empty());
        let Some(Overlay::Entry(entry)) = &state.overlay else {
            panic!("{:?}", state.overlay);
        };
        assert_eq!(entry.purpose, EntryFor::RecordedOn);
    }

    /// Which tone it was is known of the tape that ran, not of the next one.
    #[test]
    fn an_answer_does_not_outlive_the_tape() {
        let mut state = specimen::asking(-3.0);
        state.conditions.nominal = Nominal::Assumed(Hertz(3150.0));
        state.cards = vec![card(None)];
        let _ = state.act(Action::ChooseTone(0));
        let effects = take(&mut state, |it| *it == Offer::HomeMade);
        let same_tape = chosen(&effects);
        assert_eq!(same_tape.reference, Reference::Tone(Hertz(3000.0)));
        assert!(!same_tape.is_assumed);
        let effects = take(&mut state, |it| matches!(it, Offer::Card(_)));
        let another = chosen(&effects);
        assert_eq!(another.reference, Reference::Tone(Hertz(3150.0)));
        assert!(another.is_assumed);
    }

    #[test]
    fn a_length_is_typed_and_what_is_none_is_refused_with_a_reason() {
        let mut state = specimen::state(SourceKind::Input);
        let kind = ReferenceKind::Passage;
        assert!(state.take_reference(kind, Some("soon")).is_empty());
        assert!(state.message.as_deref().unwrap().contains("seconds"));
        let effects = state.take_reference(kind, Some("200"));
        assert_eq!(
            chosen(&effects).reference,
            Reference::Passage(Seconds(200.0))
        );
    }

    #[test]
    fn what_is_chosen_counts_once_it_is_ready() {
        let mut state = specimen::showing(specimen::reading(-1.0));
        state.lead = Lead::Hertz;
        let conditions = Conditions {
            kind: ReferenceKind::Marks,
            ..Conditions::default()
        };
        let choice = Choice {
            reference: Reference::Marks(Seconds(1.0)),
            card: None,
            home_made: false,
            is_assumed: false,
        };
        state.reference_taken(Err("the file is gone".to_owned()));
        assert_eq!(state.conditions.kind, ReferenceKind::Tone);
        state.reference_taken(Ok((conditions, choice)));
        assert_eq!(state.conditions.kind, ReferenceKind::Marks);
        assert_eq!(state.lead, Lead::Percent);
    }

    #[test]
    fn the_simulated_machine_offers_tones_alone() {
        let state = specimen::state(SourceKind::Rehearsal);
        let is_tone = |offer: &Offer| match offer {
            Offer::Ready(reference) => reference.kind() == ReferenceKind::Tone,
            Offer::Typed(kind) => *kind == ReferenceKind::Tone,
            Offer::Card(_) => true,
            Offer::HomeMade | Offer::RecordedOn => false,
        };
        assert!(state.offers().iter().all(is_tone));
    }
}
