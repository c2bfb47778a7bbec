//! Every key in one table. The footer, the help and the handling of keys are
//! made from it, so that none of them can say what the others do not.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use super::state::action::Action;
use super::state::routine::now::key_does;
use super::state::view::View;
use super::state::{EntryFor, ScreenState, Slot, SourceKind, is_too_small};
use crate::readings::ReferenceKind;

/// When a key means something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum When {
    Always,
    /// Only with the simulated machine.
    Rehearsing,
    /// Only while two tones could be meant.
    Choosing,
    /// Only while there is something to stop or to close.
    Stoppable,
    /// Only while something is not saved.
    Unsaved,
    /// Only with ticks or the copy out of a sound output.
    Ticking,
    /// Only with a passage as reference.
    Timing,
    /// Only on the page of lines.
    Lines,
}

/// A key and what it does.
pub struct Binding {
    code: KeyCode,
    modifiers: KeyModifiers,
    when: When,
    action: fn() -> Action,
    /// As it is written on screen.
    pub shown: &'static str,
    /// One or two words for the footer; empty if it does not stand there.
    pub short: &'static str,
    /// A sentence for the help; empty if it shares another's.
    pub long: &'static str,
}

/// One small turn of the trimmer, as a part of its travel. Invented.
const FINE: f64 = 0.002;
/// One large turn.
const COARSE: f64 = 0.02;

const NONE: KeyModifiers = KeyModifiers::NONE;
const SHIFT: KeyModifiers = KeyModifiers::SHIFT;
const CONTROL: KeyModifiers = KeyModifiers::CONTROL;

/// All keys; what comes first stays longest in a narrow footer.
#[rustfmt::skip]
pub const BINDINGS: &[Binding] = &[
    key(KeyCode::Char('?'), NONE, When::Always, || Action::Help, "?", "help", "this help"),
    key(KeyCode::Char('q'), NONE, When::Always, || Action::Quit, "q", "quit", "quit"),
    key(KeyCode::Char('5'), NONE, When::Lines, || Action::MarkNextLine, "5", "line", "on that page: mark the next line"),
    key(KeyCode::Char('6'), NONE, When::Lines, || Action::NameLine, "6", "name", "on that page: name the part that makes the marked line, for the card of this machine"),
    key(KeyCode::Char('7'), NONE, When::Lines, || Action::NextPartsCard, "7", "card", "on that page: hold the lines against the next parts card"),
    key(KeyCode::Char('8'), NONE, When::Lines, || Action::Causes, "8", "causes", "on that page: the likely causes, what to check first and with what care, the two channels"),
    key(KeyCode::Char(' '), NONE, When::Always, || Action::GoOn, "Space", "go on", "go on: do this step, or take the next (also Enter)"),
    key(KeyCode::Enter, NONE, When::Always, || Action::GoOn, "", "", ""),
    key(KeyCode::Char('s'), NONE, When::Always, || Action::Card, "s", "step", "all about the present step: what, why, cautions"),
    key(KeyCode::Char('x'), NONE, When::Ticking, || Action::MuteTicks, "x", "mute", "mute the ticks or the copy, or let them sound (with --ticks, --listen)"),
    key(KeyCode::Esc, NONE, When::Stoppable, || Action::Stop, "Esc", "stop", "stop what is under way; close what lies over the screen"),
    key(KeyCode::Char('z'), NONE, When::Timing, || Action::Edge, "z", "begins/ends", "the passage begins, or ends, now: time it by hand where its edges are not clear"),
    key(KeyCode::Char('r'), NONE, When::Unsaved, || Action::RetrySaving, "r", "save again", "try again to save what could not be saved"),
    key(KeyCode::Char('1'), NONE, When::Choosing, || Action::ChooseTone(0), "1", "", ""),
    key(KeyCode::Char('2'), NONE, When::Choosing, || Action::ChooseTone(1), "1 2", "choose tone", "choose which tone the tape carries, where two are possible"),
    key(KeyCode::Char('b'), NONE, When::Always, || Action::Keep(Slot::Before), "b", "before", "keep a snapshot before the work"),
    key(KeyCode::Char('a'), NONE, When::Always, || Action::Keep(Slot::After), "a", "after", "keep a snapshot after the work"),
    key(KeyCode::Left, NONE, When::Rehearsing, || Action::Turn(-FINE), "", "", ""),
    key(KeyCode::Right, NONE, When::Rehearsing, || Action::Turn(FINE), "←→", "trim", "turn the trimmer a little, left or right"),
    key(KeyCode::Left, SHIFT, When::Rehearsing, || Action::Turn(-COARSE), "", "", ""),
    key(KeyCode::Right, SHIFT, When::Rehearsing, || Action::Turn(COARSE), "", "", ""),
    key(KeyCode::Down, NONE, When::Rehearsing, || Action::Turn(-COARSE), "", "", ""),
    key(KeyCode::Up, NONE, When::Rehearsing, || Action::Turn(COARSE), "↓↑", "coarse", "turn it further (also Shift ← →)"),
    key(KeyCode::Char('p'), NONE, When::Rehearsing, || Action::Power, "p", "power", "power of the simulated machine on or off"),
    key(KeyCode::Char('c'), NONE, When::Rehearsing, || Action::CleanStroke, "c", "clean", "clean the trimmer: work it once back and forth, power off"),
    key(KeyCode::Char('w'), NONE, When::Always, || Action::Sweep, "w", "wiper", "check the wiper: begin, turn the trimmer out and back twice, end"),
    key(KeyCode::Char('3'), NONE, When::Always, || Action::Lines, "3", "lines", "what wavers: the lines in the flutter, the parts behind them, the likely cause"),
    key(KeyCode::Char('j'), NONE, When::Rehearsing, || Action::SweepByHand, "j", "sweep", "let the simulated hand turn the trimmer out and back twice"),
    key(KeyCode::Char('k'), NONE, When::Always, || Action::Contact, "k", "contacts", "check a volume control or switch: begin, work it, end"),
    key(KeyCode::Char('o'), NONE, When::Rehearsing, || Action::WorkControl, "o", "control", "let the simulated hand work the volume control"),
    key(KeyCode::Char('g'), NONE, When::Always, || Action::MarkAnEighth, "g", "", "press it, then turn an eighth clockwise: from then on the advice is in eighths"),
    key(KeyCode::Backspace, NONE, When::Always, || Action::GoBack, "Bksp", "back", "one step back"),
    key(KeyCode::Tab, NONE, When::Always, || Action::Pass, "Tab", "", "the next step, without doing what belongs to this one"),
    key(KeyCode::Char('y'), NONE, When::Always, || Action::LongRun, "y", "", "play the whole tape: start, middle and end are kept on the way; again ends it"),
    key(KeyCode::Char('d'), NONE, When::Always, || Action::NextRun, "d", "", "the next speed or direction, or round again (--speeds, --directions)"),
    key(KeyCode::Char('f'), NONE, When::Always, || Action::NoTrimmer, "f", "", "this machine has no trimmer (fixed speed); again: it has one"),
    key(KeyCode::Char('0'), NONE, When::Always, || Action::Choose, "0", "reference", "choose what the tape carries: a tone, a note, a passage, marks, a recording, a tape card"),
    key(KeyCode::Char('u'), NONE, When::Always, || Action::NextUnit, "u", "unit", "show percent, cents or hertz"),
    key(KeyCode::Char('t'), NONE, When::Always, || Action::NextTolerance, "t", "tolerance", "next tolerance: portable 1 %, deck 0.5 %, professional 0.1 %"),
    key(KeyCode::Char('l'), NONE, When::Always, || Action::Type(EntryFor::Tolerance), "l", "", "type a tolerance band of your own: its half width in percent"),
    key(KeyCode::Char('i'), NONE, When::Always, || Action::Budget, "i", "±", "what the ± of the digits is made of, line by line"),
    key(KeyCode::Char('n'), NONE, When::Always, || Action::Type(EntryFor::Snapshot), "n", "named", "keep a snapshot under a name"),
    key(KeyCode::Char('m'), NONE, When::Always, || Action::Type(EntryFor::Machine), "m", "machine", "name the machine on the bench"),
    key(KeyCode::Char('e'), NONE, When::Always, || Action::Type(EntryFor::Note), "e", "note", "write down what was done or seen: a note, kept in the job at once"),
    key(KeyCode::Char('9'), NONE, When::Always, || Action::Job, "9", "job", "the job: what was kept in it, earlier jobs of this machine, and which to open"),
    key(KeyCode::Char('v'), NONE, When::Always, || Action::Type(EntryFor::Supply), "v", "", "type in the supply voltage, kept with the next snapshots"),
    key(KeyCode::Char('4'), NONE, When::Always, || Action::Supply, "4", "supply", "speed against supply voltage: at two or more, holds or follows the cells"),
    key(KeyCode::Char('h'), NONE, When::Always, || Action::Help, "", "", ""),
    key(KeyCode::Char('l'), CONTROL, When::Always, || Action::Repaint, "Ctrl-L", "", "draw the screen anew"),
    key(KeyCode::Char('z'), CONTROL, When::Always, || Action::Suspend, "Ctrl-Z", "", "back to the shell for a while; fg returns"),
    key(KeyCode::Char('c'), CONTROL, When::Always, || Action::Interrupt, "Ctrl-C", "", "stop at once"),
];

const fn key(
    code: KeyCode,
    modifiers: KeyModifiers,
    when: When,
    action: fn() -> Action,
    shown: &'static str,
    short: &'static str,
    long: &'static str,
) -> Binding {
    Binding {
        code,
        modifiers,
        when,
        action,
        shown,
        short,
        long,
    }
}

impl Binding {
    /// Does it mean something now?
    pub fn applies(&self, state: &ScreenState) -> bool {
        match self.when {
            When::Always => true,
            When::Rehearsing => state.kind == SourceKind::Rehearsal,
            When::Choosing => !state.tones_to_choose().is_empty(),
            When::Stoppable => state.keeping.is_some() || state.view != View::Bench,
            When::Unsaved => state.unsaved().next().is_some(),
            When::Ticking => state.ticks.is_some() || state.listening.is_some(),
            When::Lines => state.view == View::Lines,
            When::Timing => state.conditions.kind == ReferenceKind::Passage,
        }
    }

    /// The words for the footer as things stand.
    pub fn short_now(&self, state: &ScreenState) -> &'static str {
        match (self.action)() {
            Action::GoOn => key_does(&state.routine, state),
            // Nothing runs on the page of a verdict.
            Action::Stop if state.view == View::Supply && state.keeping.is_some() => self.short,
            Action::Stop if state.view != View::Bench && !state.is_checking() => "close",
            _ => self.short,
        }
    }

    /// Worth a line in the help for this kind of source.
    pub fn belongs(&self, kind: SourceKind) -> bool {
        self.when != When::Rehearsing || kind == SourceKind::Rehearsal
    }
}

/// What a key means now; `None` if nothing.
pub fn action(event: KeyEvent, state: &ScreenState) -> Option<Action> {
    if is_too_small(state.size) {
        // Nothing may happen that is not seen.
        let leaves = matches!(event.code, KeyCode::Char('q' | 'Q')).then_some(Action::Quit);
        return action_on_the_terminal(event).or(leaves);
    }
    if let Some(overlay) = &state.overlay {
        return action_on_the_terminal(event).or_else(|| overlay.action(event));
    }
    let code = match event.code {
        // Caps lock must not turn the keys off.
        KeyCode::Char(letter) => KeyCode::Char(letter.to_ascii_lowercase()),
        other => other,
    };
    let shift_matters = matches!(code, KeyCode::Left | KeyCode::Right);
    let mut modifiers = event.modifiers & (CONTROL | SHIFT | KeyModifiers::ALT);
    if !shift_matters {
        modifiers -= SHIFT;
    }
    BINDINGS
        .iter()
        .find(|it| it.code == code && it.modifiers == modifiers && it.applies(state))
        .map(|it| (it.action)())
}

/// What changes nothing on the screen works whatever lies over it.
fn action_on_the_terminal(event: KeyEvent) -> Option<Action> {
    if !event.modifiers.contains(CONTROL) {
        return None;
    }
    match event.code {
        KeyCode::Char('c') => Some(Action::Interrupt),
        KeyCode::Char('z') => Some(Action::Suspend),
        KeyCode::Char('l') => Some(Action::Repaint),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::specimen;

    fn press(code: KeyCode, modifiers: KeyModifiers, state: &ScreenState) -> Option<Action> {
        action(KeyEvent::new(code, modifiers), state)
    }

    #[test]
    fn no_key_stands_twice_and_every_key_shown_is_explained() {
        for (at, one) in BINDINGS.iter().enumerate() {
            let twice = BINDINGS[at + 1..]
                .iter()
                .any(|other| other.code == one.code && other.modifiers == one.modifiers);
            assert!(!twice, "{:?} {:?}", one.modifiers, one.code);
            let is_explained = !one.shown.is_empty() && !one.long.is_empty();
            assert!(one.short.is_empty() || is_explained, "{}", one.short);
        }
    }

    #[test]
    fn keys_of_the_simulated_machine_do_nothing_on_a_real_one() {
        let real = specimen::state(SourceKind::Input);
        let rehearsal = specimen::state(SourceKind::Rehearsal);
        let letters = ['p', 'c'].map(KeyCode::Char);
        for code in letters.into_iter().chain([KeyCode::Left, KeyCode::Up]) {
            assert_eq!(press(code, NONE, &real), None);
            assert!(press(code, NONE, &rehearsal).is_some());
        }
        let fine = press(KeyCode::Right, NONE, &rehearsal);
        let coarse = press(KeyCode::Right, SHIFT, &rehearsal);
        assert_eq!(fine, Some(Action::Turn(FINE)));
        assert_eq!(coarse, Some(Action::Turn(COARSE)));
    }

    #[test]
    fn control_c_interrupts_also_while_typing_and_while_rehearsing() {
        let mut state = specimen::state(SourceKind::Rehearsal);
        let interrupt = Some(Action::Interrupt);
        assert_eq!(press(KeyCode::Char('c'), CONTROL, &state), interrupt);
        let _ = state.act(Action::Type(EntryFor::Note));
        assert_eq!(press(KeyCode::Char('c'), CONTROL, &state), interrupt);
        let letter = Some(Action::Letter('q'));
        assert_eq!(press(KeyCode::Char('q'), NONE, &state), letter);
        assert_eq!(press(KeyCode::Esc, NONE, &state), Some(Action::Uncover));
    }

    #[test]
    fn in_a_window_that_is_too_small_no_key_acts_unseen() {
        let mut state = specimen::state(SourceKind::Rehearsal);
        state.size = (49, 13);
        for letter in "tfpgbaw 0".chars() {
            assert_eq!(press(KeyCode::Char(letter), NONE, &state), None, "{letter}");
        }
        let quit = Some(Action::Quit);
        assert_eq!(press(KeyCode::Char('q'), NONE, &state), quit);
    }

    #[test]
    fn caps_lock_changes_nothing() {
        let state = specimen::state(SourceKind::Input);
        let keep = Some(Action::Keep(Slot::Before));
        assert_eq!(press(KeyCode::Char('B'), SHIFT, &state), keep);
        assert_eq!(press(KeyCode::Char('?'), SHIFT, &state), Some(Action::Help));
    }

    #[test]
    fn tones_can_be_chosen_only_where_two_are_possible() {
        let state = specimen::showing(specimen::reading(-3.0));
        assert_eq!(press(KeyCode::Char('1'), NONE, &state), None);
        let state = specimen::asking(-3.0);
        let second = press(KeyCode::Char('2'), NONE, &state);
        assert_eq!(second, Some(Action::ChooseTone(1)));
    }
}
