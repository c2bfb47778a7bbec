//! What to do at each step, why, and what to be careful about. Facts of the
//! trade are common practice, no source, unless a source stands beside them.

use super::{Routine, Step};

/// The words of a step.
#[derive(Clone, Copy, Debug)]
pub(in crate::screen) struct Card {
    /// One line: what to do.
    pub(in crate::screen) brief: &'static str,
    /// The same at length.
    pub(in crate::screen) what: &'static str,
    /// Why.
    pub(in crate::screen) why: &'static str,
    /// One line of caution.
    pub(in crate::screen) careful: &'static str,
    /// The same at length.
    pub(in crate::screen) caution: &'static str,
    /// What the keys do at the simulated machine.
    pub(in crate::screen) rehearsal: &'static str,
}

const CONNECT: Card = Card {
    brief: "Line output into this computer; play the test tape",
    what: "Wire the machine's line or headphone output to the line input of this computer and \
        play the test tape. Take a line input rather than a microphone input; where there is only \
        that, switch its automatic gain and noise suppression off.",
    why: "Everything is read from the tone on the tape; nothing else is connected to the machine.",
    careful: "Headphones at the lowest level first.",
    caution: "A test tone is loud and steady: begin with headphones at the lowest level, and take \
        them off when you need not listen (WHO and ITU H.870 allow 80 dB for 40 hours a week; from \
        memory). With mains machines connect while everything is switched off.",
    rehearsal: "It is connected already. Space goes on, Backspace goes back.",
};

const SIGNAL: Card = Card {
    brief: "Set the level: tone found, no CLIP, little noise",
    what: "The tone must be found, neither clipped nor faint. Set the input gain so that the \
        meters stay well below their right end. If two tones are possible, say which one the tape \
        carries (1 or 2).",
    why: "A weak, clipped or wrong tone gives a reading that looks sure and is not.",
    careful: "Headphones off before you turn it up.",
    caution: "Turn levels up slowly, and take headphones off before you do.",
    rehearsal: "Nothing to set here: the simulated tape carries 3150 Hz.",
};

const WARM_UP: Card = Card {
    brief: "Let it play until the drift is small",
    what: "Let the tape play until the drift, its ± included, is as small as wanted. Motor, \
        bearings, grease and the electronics of the speed change as they warm; machines take from \
        two minutes to twenty.",
    why: "What is set on a cold machine is wrong on a warm one.",
    careful: "Hair, sleeves, fingers off moving parts.",
    caution: "Keep hair, sleeves and fingers off belts, pulleys and flywheels while it runs. Do \
        not leave an open machine alone.",
    rehearsal: "It warms in two to three minutes; Space goes on without waiting.",
};

const BEFORE: Card = Card {
    brief: "Heads and capstan clean, pitch centred? Keep it",
    what: "Make sure first: heads, capstan and pinch roller are clean; the user's own pitch \
        control stands in its middle; double-speed dubbing and noise reduction are off; the tape \
        plays near its middle. Then keep the snapshot: it takes ten to thirty seconds.",
    why: "Slip on a dirty capstan or roller reads as slow speed, and a pitch control off its middle \
        as a wrong trimmer. Without a before nobody can show what the work has changed.",
    careful: "Power off to clean; no cleaner on rubber.",
    caution: "Clean heads, capstan and roller with the machine switched off; what is right for \
        metal may attack rubber and plastics. Nothing may run while a swab is near the capstan.",
    rehearsal: "Space or b keeps it. Leave the trimmer alone meanwhile.",
};

const CLEAN: Card = Card {
    brief: "Power off. Mark the trimmer, clean it, work it",
    what: "Switch off and pull the plug, or take the cells out. Mark where the trimmer stands. A \
        little contact cleaner, then turn it some ten times through its travel and back to the \
        mark. Let it dry, then switch on and play the tape again.",
    why: "Most old speed faults are a dirty wiper: trimming over dirt holds until the next knock. \
        A trimmer's old mark is the way back.",
    careful: "Unplug; capacitors stay charged. Cleaner burns: ventilate, let it dry.",
    caution: "Mains parts can kill, also after the plug is pulled: capacitors stay charged. Open \
        mains machines only if you are trained to; local codes may leave it to licensed practice. \
        Contact cleaner: power off, its propellant is flammable, so ventilate and keep flames and \
        sparks away; some attack polystyrene and rubber, so try it out of sight and keep it off \
        belts and rollers; let it dry before power. Leave a sealed or unmarked adjuster as it is.",
    rehearsal: "Space switches off, works the wiper, switches on (or p, c, p).",
};

const WIPER: Card = Card {
    brief: "Trimmer slowly through its range and back, twice",
    what: "Mark where the trimmer stands. One key begins the sweep and ends it. Leave the trimmer \
        alone for three seconds, then turn it slowly to one end of its usable range, to the other, \
        and back, two rounds in one go: a dead spot hardly shows in one. Jumps, dead spots and \
        crackle show in the speed.",
    why: "A wiper that jumps makes every setting a guess. Where right speed lies at the end of the \
        travel, the fault is elsewhere: belt, pinch roller, motor, supply, dirt in the transport.",
    careful: "Mark it first. Live: trained hands only.",
    caution: "The machine is open and live now. Work through the opening made for it, with an \
        insulated tool and one hand, other parts covered; on mains machines only if you are \
        trained to. A slipping screwdriver can bend a capstan. Never turn a sealed or unmarked \
        adjuster: there may be others that only look alike.",
    rehearsal: "Space begins a sweep, j turns the trimmer for you, Space ends it.",
};

const TRIM: Card = Card {
    brief: "Turn a little, let go, wait for the digits",
    what: "Mark the old position if you have not. Turn a little, take the pressure off, wait \
        a turn of the wow, read. Near the middle of the tape. No trimmer to be found: f says so.",
    why: "The digits average over whole turns of the wow; the needle does not, and chasing it \
        overshoots.",
    careful: "Insulated tool. Live: trained hands only.",
    caution: "Mains parts under power can kill: insulated tool, one hand, and leave it to licensed \
        practice where local codes say so. Keep the tool off belts and flywheel. Mark the old \
        position first. Sealed or unmarked adjusters stay as they are.",
    rehearsal: "→ and ↑ turn clockwise, ← and ↓ back; eight ↑ are an eighth.",
};

const HANDS_OFF: Card = Card {
    brief: "Tool and hand away: the speed must hold",
    what: "Take the tool out, and the hand off the machine. The mean without the tool is compared \
        with the mean at the end of trimming, over some whole turns of the wow.",
    why: "The pressure of a tool bends trimmer and board, and steel near a motor shifts its field: \
        either moves the speed, and moves it back when the tool goes.",
    careful: "Leave no tool inside the machine.",
    caution: "Do not lay the tool down inside the machine, and keep sleeves off moving parts.",
    rehearsal: "The simulated hand is off when no arrow key is pressed.",
};

const ALONG: Card = Card {
    brief: "Wind to start, middle, end; keep one at each",
    what: "Wind to the start, keep; wind to the middle, keep; wind to the end, keep. Each takes \
        ten to thirty seconds. Or play it through: y at the start, y again at the end, and the \
        three are kept by themselves. A test tape whose tone does not last has to be left out.",
    why: "The pull of the reels changes from end to end. A speed that changes with it points to \
        take-up tension, holdback tension or the pinch roller, not to the trimmer.",
    careful: "Stop the tape before touching the reels.",
    caution: "Stop the tape before you touch reels or hubs; wind old tape at the slowest speed \
        there is.",
    rehearsal: "Space winds the tape and keeps start, middle and end in turn.",
};

const AFTER: Card = Card {
    brief: "Back to the middle, hands off: keep an 'after'",
    what: "Back to the middle of the tape, hands off, covers as they will stay; keep the snapshot. \
        Before and after then stand side by side, and in the job.",
    why: "It shows what was gained, and is what next year's reading is compared with.",
    careful: "Unplug before you close the machine.",
    caution: "Unplug before you close the machine; no lead pinched, no tool left inside. Seal the \
        trimmer only with what can be taken off again.",
    rehearsal: "Space or a keeps it; then compare, and q quits.",
};

/// Where nothing is there to turn.
const NO_TRIMMER: Card = Card {
    brief: "No trimmer: wiper, trim and hands off are left out",
    what: "Synchronous motors follow the mains frequency, crystal-held ones their crystal: there \
        is nothing to trim, and wiper, trim and hands off are left out. If the speed is wrong, \
        look at what else sets it: mains frequency (50 or 60 Hz, and the pulley that goes with \
        it), diameter of capstan and motor pulley, a belt that is worn, stretched or not its own, \
        pinch roller, slip on a dirty or glazed capstan, supply voltage, and the reference of the \
        servo: its crystal, divider or frequency generator.",
    why: "Where the motor is held, a wrong speed is a mechanical fault or a wrong part, and no \
        adjuster mends it.",
    careful: "Leave other adjusters alone: bias, level and azimuth look like speed trimmers.",
    caution: "Leave other adjusters alone: bias, level and azimuth look like speed trimmers. Mains \
        motors and their capacitors carry mains voltage: unplug first, and leave them to those \
        trained for it.",
    rehearsal: "f brings the trimmer back.",
};

impl Routine {
    /// The words of the step that is shown.
    pub(in crate::screen) fn card(&self) -> &'static Card {
        match self.at {
            step if self.no_trimmer && step.needs_trimmer() => &NO_TRIMMER,
            Step::Connect => &CONNECT,
            Step::Signal => &SIGNAL,
            Step::WarmUp => &WARM_UP,
            Step::Before => &BEFORE,
            Step::Clean => &CLEAN,
            Step::Wiper => &WIPER,
            Step::Trim => &TRIM,
            Step::HandsOff => &HANDS_OFF,
            Step::Along => &ALONG,
            Step::After => &AFTER,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(step: Step) -> &'static Card {
        let mut routine = Routine::default();
        routine.go_to(step);
        routine.card()
    }

    #[test]
    fn every_step_has_words_of_its_own_and_a_caution() {
        let mut seen = vec![NO_TRIMMER.brief];
        for step in Step::ALL {
            let card = of(step);
            assert!(!seen.contains(&card.brief), "{}", card.brief);
            seen.push(card.brief);
            for text in [card.what, card.why, card.caution, card.rehearsal] {
                assert!(text.ends_with('.'), "{text}");
            }
            // A row of the smallest screen.
            assert!(card.brief.chars().count() <= 50, "{}", card.brief);
            assert!(card.careful.chars().count() <= 78, "{}", card.careful);
        }
    }

    #[test]
    fn what_can_hurt_is_said_where_it_can_hurt() {
        for (step, needed) in [
            (Step::Connect, "lowest level"),
            (Step::WarmUp, "belts"),
            (Step::Clean, "flammable"),
            (Step::Clean, "polystyrene"),
            (Step::Clean, "dry"),
            (Step::Clean, "licensed practice"),
            (Step::Clean, "capacitors"),
            (Step::Wiper, "unmarked adjuster"),
            (Step::Trim, "licensed practice"),
            (Step::Trim, "old position"),
        ] {
            let caution = of(step).caution;
            assert!(caution.contains(needed), "{step:?}: {needed}");
        }
        for needed in ["capstan and pinch roller", "pitch", "dubbing", "reduction"] {
            assert!(of(Step::Before).what.contains(needed), "{needed}");
        }
    }

    #[test]
    fn without_a_trimmer_it_says_what_else_sets_the_speed() {
        let mut routine = Routine {
            no_trimmer: true,
            ..Routine::default()
        };
        routine.go_to(Step::Trim);
        for cause in [
            "mains frequency",
            "diameter of capstan",
            "belt",
            "pinch roller",
            "slip",
            "supply",
            "servo",
        ] {
            assert!(routine.card().what.contains(cause), "{cause}");
        }
    }
}
