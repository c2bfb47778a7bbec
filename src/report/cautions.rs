//! What must be said of a measurement, in sentences: the only place where a
//! [`Caution`] becomes words.

use std::fmt;

use super::numbers::signed;
use super::troubles::{capital, noun, off_by, trouble, which_tone};
use super::words::{counted, other_side, side};
use crate::readings::{
    Caution, ChannelUsed, CopyState, NoMarks, NoPassage, Origin, Ratio, ReferenceKind, Told,
    Vibrato,
};
use crate::units::Seconds;

const SILENCE: &str =
    "There is nothing but silence; check the tape, the channel and the input level.";

impl From<Caution> for Told {
    fn from(caution: Caution) -> Self {
        let text = caution.to_string();
        Self {
            code: caution.code(),
            text,
        }
    }
}

impl fmt::Display for Caution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&sentence(self))
    }
}

impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Half => "half",
            Self::Double => "double",
        })
    }
}

#[allow(clippy::too_many_lines)] // a table: a sentence each
fn sentence(caution: &Caution) -> String {
    use Caution as C;
    match caution {
        C::Told(told) => told.text.clone(),
        C::OwnErrorUnknown(origin) => format!(
            "By this tape only: its own error is not known. {}",
            where_recorded(origin)
        ),
        C::HomeMade(origin) => format!(
            "A home-made tape without a figure of its own is taken as ±3 %. {}",
            where_recorded(origin)
        ),
        C::RecordedHere => "The tape was recorded on this machine, so it reads right at any \
            speed: this is no speed error. Take a tape from elsewhere."
            .into(),
        C::WhichTone([taken, other], heard) => which_tone(*taken, *other, *heard),
        C::Contradicts([says, taken], None) => format!(
            "The tape says that it carries {says}, but it was measured by {taken}; take what it \
             says with --reference {says}."
        ),
        C::Contradicts([says, taken], Some(card)) => format!(
            "The card of \"{card}\" says that the tape carries {says}, but it was measured by \
             {taken}; name another card, or leave --reference out."
        ),
        C::GivesNoFlutter(kind, has_drift) => no_flutter(*kind, *has_drift),
        C::Clipped(samples, share) => {
            let which = match share {
                Some(share) => format!("{:.0} % of it", share.0),
                None => capital(&counted(*samples, "sample", "samples")),
            };
            format!("{which} stood at full scale; turn the input down.")
        }
        C::Dropouts(count, are_alarming) => {
            let then = if *are_alarming {
                "clean the heads and try another stretch of tape"
            } else {
                "one now and then is no reason to do anything"
            };
            let dropouts = capital(&counted(*count, "dropout", "dropouts"));
            format!("{dropouts}, bridged; {then}.")
        }
        C::Trouble(problem, kind) => trouble(problem, *kind),
        C::LevelsDiffer(right) => {
            let quieter = if right.0 > 0.0 {
                ChannelUsed::Left
            } else {
                ChannelUsed::Right
            };
            format!(
                "The {} channel is {:.1} dB quieter than the {}: dirty head, bad contact, azimuth, \
                 or the balance of the input. The speed does not depend on it.",
                side(quieter),
                right.0.abs(),
                other_side(quieter)
            )
        }

        C::NoLinesYet => "Too short for the lines in the flutter: eight seconds at one speed show \
            the first, a minute shows the slow ones."
            .into(),
        C::GenericParts(card) => format!(
            "\"{card}\" is a card for a kind of machine, not of this one: its parts are guesses \
             with wide tolerances. Count turns by eye and make a card (tapewright help lines)."
        ),
        C::LagNearHalfPeriod(period_us) => format!(
            "The time between the channels is near half a period of the tone ({period_us:.1} µs), so which \
             channel leads cannot be told; a second tone at least a tenth away tells."
        ),
        C::ChannelInverted => "One channel is wired the other way round: in mono it takes the \
            other away. Check the leads of the head and of the output."
            .into(),

        // Of a tone.
        C::Silence => SILENCE.into(),
        C::NoTone => {
            "No steady tone was found; check the tape, the channel and the input level.".into()
        }
        C::LikeATone => "Something like a tone was heard, but not long and steadily enough \
            to be a test tone; measure the part that carries it with --from and --to."
            .into(),
        C::WrongTone(heard) => format!(
            "A steady tone of {heard} was heard, which is outside −20 … +25 % of the reference."
        ),
        C::AnotherTone(heard, tone) => format!(
            "A steady tone of {:.0} Hz was heard, which is outside −20 … +25 % of the reference; \
             it looks like a {tone} tape that is {}: --reference tone:{} measures by it.",
            heard.0,
            off_by(*heard, *tone),
            tone.0
        ),
        C::LikeHum(heard, hum) => format!(
            "{heard} looks like mains hum ({hum}). Only a hint: if it was recorded with the tape, \
             and not picked up now, the speed is about {:+.1} % off.",
            100.0 * (heard.0 / hum.0 - 1.0)
        ),
        C::OtherSpeed(heard, ratio) => {
            format!("{heard} is the reference at {ratio} speed; check the speed switch.")
        }
        C::OtherMains => "The speed is off by the ratio of 50 and 60 Hz; a synchronous motor \
            on the other mains frequency does that."
            .into(),
        C::ToneLost(1) => "The tone was lost once, or ended before the recording did; the \
            figures are of what was heard of it."
            .into(),
        C::ToneLost(count) => format!(
            "The tone was lost {} and found again or not; the figures are of the parts in between.",
            times(*count)
        ),
        C::ToneTooLow(limit) => format!(
            "The tone is too low, or too near half the sample rate, for flutter beyond {limit:.0}; \
             what is weighted or unweighted ends there."
        ),
        C::HeavyWow(rms, hz) => format!(
            "Heavy wow: about {:.1} % at {hz:.1} Hz (RMS); look at the belt, the pinch roller and \
             the pulleys first.",
            rms.0
        ),

        // Of its speed.
        C::TooShort => "Too short for every figure and its uncertainty; ten seconds settle \
            the filters, thirty are better."
            .into(),
        C::Drifting(true) => "The speed falls: in a battery machine flat cells or \
            a sagging supply come first; else let it warm up and measure again."
            .into(),
        C::Drifting(false) => "The speed drifts; let the machine warm up and measure again.".into(),
        C::Moved(count) => {
            format!("The speed was moved {} during this stretch.", times(*count))
        }
        C::MovedBetween([before, after], Some(at)) => format!(
            "The speed was moved at {at:.0}: {} % before, {} % after; the figure is the mean of both.",
            signed(before.0, 2),
            signed(after.0, 2)
        ),
        C::MovedBetween([before, after], None) => format!(
            "The speed was moved: {} % in the first half, {} % in the second.",
            signed(before.0, 2),
            signed(after.0, 2)
        ),
        C::MovedBefore(last) => {
            let where_to = last.map_or(String::new(), |[from, to]| {
                format!(
                    " The figures are of the last steady stretch, {:.1} to {to:.1}.",
                    from.0
                )
            });
            format!("The speed was moved during this recording.{where_to}")
        }
        C::Swept => "The trimmer was turned through its range, so no speed is told.".into(),

        // Of notes and music.
        C::NoNote => "No single held note was found near the one that was named: music, \
            chords and short notes are none; choose the part that holds it with --from and --to."
            .into(),
        C::WrongNote(heard, named) => {
            let semitones = (12.0 * (heard.0 / named.0).log2()).round() as i32;
            format!(
                "A note of {heard:.0} was heard, {} the one that was named ({named:.1}); name the \
                 note that is played.",
                interval(semitones)
            )
        }
        C::OctaveOff(heard, ratio) => {
            let organ = if *ratio == Ratio::Half {
                " A 16-foot stop sounds an octave below its key: then name the lower note."
            } else {
                ""
            };
            format!(
                "{heard} is an octave off: another note, or this one at {ratio} speed; check the \
                 speed switch.{organ}"
            )
        }
        C::NearerNote(semitones, off) => format!(
            "What was heard lies nearer to the note {} the one that was named, from which it is \
             {:+.2} %; make sure which of them is played.",
            interval(*semitones),
            off.0
        ),
        C::Vibrato(Vibrato { rate, depth }) => format!(
            "The pitch wavers {:.1} times a second by ±{:.2} % (vibrato of the note or wow of the \
             machine); the speed is its mean.",
            rate.0, depth.0
        ),
        C::PartialsStretched(stiffness) => format!(
            "The partials are stretched, as a stiff string's are (B = {stiffness:.6}); the speed \
             is that of the first partial."
        ),
        C::ChannelTaken(channel, is_clearer, apart) => {
            let why = if *is_clearer {
                "which stands clearer above its noise"
            } else {
                "both being as clear"
            };
            format!(
                "The {} channel was read, {why}; the {} one reads this note {:+.3} % from it \
                 (other voices, or a worse channel). The ± reaches it; take the other with \
                 --channel.",
                side(*channel),
                other_side(*channel),
                apart.0
            )
        }
        C::VoicesApart(width) => format!(
            "The note has voices about ±{:.2} % apart that beat with one another; the speed is \
             that of their middle, and the ± reaches them.",
            width.0
        ),
        C::OrganStops => "With the named note sounds what an organ's 16-foot and quint stops \
            add to it, an octave or two below or a fifth above; if no organ plays, make sure that \
            the note is not named too high."
            .into(),
        C::Music => "No test tone was found: what is heard is music. --reference \
            recording:FILE measures by a digital copy of it, --reference note:A4 by a note that \
            is held."
            .into(),
        C::Tuning(hint) => format!(
            "Only a hint: the music's tuning lies {:+.0} ±{:.0} cents ({:+.1} %) from equal \
             temperament at A4 = {}. That is known only up to a semitone (5.9 %), and tells the \
             speed only if the players were in tune.",
            hint.offset.0,
            hint.uncertainty.0.ceil(),
            hint.deviation().0,
            hint.concert_pitch,
        ),

        // Of passages and marks.
        C::NoPassage(no) => no_passage(*no).into(),
        C::PassageOff([length, expected], off, by_hand) => {
            let [ends, then] = if *by_hand {
                ["press to press", "time it again"]
            } else {
                [
                    "the first sound to the last",
                    "name its right length, or choose it with --from and --to",
                ]
            };
            format!(
                "From {ends} there were {length:.1}, which would be {:+.0} % of speed for the \
                 {} s of the passage; {then}.",
                off.0, expected.0
            )
        }
        C::PassageAtSpeed(length, ratio) => {
            format!("{length:.1} is the passage at {ratio} speed; check the speed switch.")
        }
        C::PassageGoesOn([since, expected, next_after]) => format!(
            "The sound goes on after {since:.0}, longer than a passage of {} s lasts at any speed; \
             name its right length. The next one is waited for after {next_after:.0} of silence.",
            expected.0
        ),
        C::EndsUnknown(by, length) => format!(
            "The ends of the passage are known to ±{by:.2} only, too little for {length:.0}; \
             choose a longer one, or one that does not fade."
        ),
        C::EdgesSoft(by) => format!(
            "The passage fades in or out, which leaves ±{by:.2}; one with clean edges is known \
             better."
        ),
        C::ByHand(by) => {
            format!("Started and stopped by hand: each press counts with ±{by:.1}.")
        }
        C::LoneClick => "A lone click before or after the passage was not counted; choose \
            the stretch with --from and --to if it belongs to it."
            .into(),
        C::NoMarks(no, spacing) => no_marks(*no, *spacing),
        C::MarksOff(spacing, off) => format!(
            "The marks are {spacing:.4} apart, which would be {:+.0} % of speed; name their right \
             spacing.",
            off.0
        ),
        C::MarksMissing(missing, expected) => format!(
            "{missing} of {expected} marks were not found or came off their time; the others were \
             counted."
        ),
        C::SoundsLeftOut => "Sounds off their time were left out; the marks were counted.".into(),

        // Of a place in a copy.
        C::NoPlace(state, sound) => no_place(*state, *sound),
        C::TwoPassages([left, right]) => {
            let when = |[from, to]: &[Seconds; 2]| format!("{:.1} to {:.1} s", from.0, to.0);
            format!(
                "Left ({}) and right ({}) do not carry the same passage; choose one with \
                 --channel.",
                when(left),
                when(right)
            )
        }
        C::TwoSpacings([left, right]) => format!(
            "Left ({:.4} s apart) and right ({:.4} s) do not carry the same marks; choose one with \
             --channel.",
            left.0, right.0
        ),
        C::PlaceRepeats => {
            "The music repeats: another place of the copy fits as well, at the same speed.".into()
        }
        C::PlaceLost(count) => format!(
            "The place in the copy was lost and found again ({count} ×): a fault of the tape, a \
             cut, or another mix; only what could be followed counts."
        ),

        // Of a file.
        C::BeyondTheEnd(length) => format!(
            "The recording ends at {length:.1}, before the stretch that was asked for begins; \
             choose an earlier --from."
        ),
        C::CutShort(missing) => {
            let missing = missing.map_or("its end is missing".into(), |missing| {
                format!("{missing:.1} are missing at its end")
            });
            format!("The file is cut short: {missing}; it was measured as far as it goes.")
        }
        C::Undecodable(packets) => format!(
            "Parts of the file could not be decoded ({packets} of its packets); they count as \
             silence, so copy it again."
        ),
        C::NoNumbers(samples) => format!(
            "{samples} samples of the file are no numbers (NaN or infinite); they count as \
             silence, so check what wrote it."
        ),
        C::PartRead(from) => format!(
            "There is more than the tone on this tape; it was read behind the last ident, from \
             {from:.0} on. --from and --to choose another part."
        ),
        C::ThroughPipe => "There is more than the tone on this tape, but it came through a \
            pipe, in which its parts cannot be sought; save it as a file and read that, to have \
            the tone by itself."
            .into(),
        C::ToneNotNeeded => {
            "Contacts were judged by the sound as it is; no speed was read from it.".into()
        }
    }
}

fn where_recorded(origin: &Origin) -> String {
    match origin {
        Origin::Unknown => "Where was it recorded? On this machine it reads right at any speed; \
            say where with --recorded-on (key 0 while watching)."
            .into(),
        Origin::OfIdent(machine) => format!("It says that it was recorded on \"{machine}\"."),
        Origin::Said(machine) => format!("You say that it was recorded on \"{machine}\"."),
    }
}

fn no_flutter(kind: ReferenceKind, has_drift: bool) -> String {
    let by = match kind {
        ReferenceKind::Note => "a note, whose player is unsteady too",
        ReferenceKind::Passage => "a passage",
        other => noun(other),
    };
    let [what, them] = if has_drift {
        ["Flutter", "it"]
    } else {
        ["Drift and flutter", "them"]
    };
    format!("{what} cannot be had from {by}; use a tone for {them}.")
}

fn no_passage(no: NoPassage) -> &'static str {
    match no {
        NoPassage::Silence => SILENCE,
        NoPassage::NothingStandsOut => {
            "The sound is the same from beginning to end, so no passage stands out; record the \
             silence before and after it too."
        }
        NoPassage::InTheNoise => {
            "The passage is too often as quiet as the noise to say where it begins and ends; \
             choose a louder one."
        }
        NoPassage::Begun => {
            "There is sound from the first moment on, so the passage may have begun before; record \
             half a second of silence before it."
        }
        NoPassage::Unended => {
            "The sound goes on to the last moment, so the passage may not have ended; record half \
             a second of silence after it."
        }
        NoPassage::FadesIn => {
            "The passage fades in too slowly to say where it begins; choose one with clean edges."
        }
        NoPassage::FadesOut => {
            "The passage fades out too slowly to say where it ends; choose one with clean edges."
        }
    }
}

fn no_marks(no: NoMarks, Seconds(every): Seconds) -> String {
    match no {
        NoMarks::Silence => SILENCE.into(),
        NoMarks::Nothing => "No marks stand out; check the tape, the channel and the input level, \
            and that nothing else sounds."
            .into(),
        NoMarks::One => {
            format!("A single mark was heard; two or more are needed, {every} s apart.")
        }
        NoMarks::NoRow(heard) => format!(
            "{heard} short sounds were heard, but no regular row of marks about {every} s apart; \
             check the spacing, or choose the part that carries them with --from and --to."
        ),
    }
}

fn no_place(state: CopyState, sound: Seconds) -> String {
    match state {
        CopyState::Silent => "There is no sound in it; check the cable and the level.".into(),
        CopyState::Listening | CopyState::Following => format!(
            "{sound:.1} of sound are too few to be found in the copy; record 10 s or more, a \
             minute for a good ±."
        ),
        CopyState::Ambiguous => "The music repeats: several places of the copy fit as well, at \
            different speeds; record a longer stretch or another one."
            .into(),
        CopyState::NotFound | CopyState::Lost => format!(
            "The copy was not found in {sound:.0} of sound; check that it is the same performance \
             and mix, that the speed is within ±10 %, and that the tape can be heard well."
        ),
    }
}

fn interval(semitones: i32) -> String {
    let side = if semitones < 0 { "below" } else { "above" };
    match semitones.abs() {
        12 => format!("an octave {side}"),
        24 => format!("two octaves {side}"),
        1 => format!("a semitone {side}"),
        count => format!("{count} semitones {side}"),
    }
}

fn times(count: u64) -> String {
    match count {
        1 => "once".into(),
        2 => "twice".into(),
        more => format!("{more} times"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Hertz;

    #[test]
    fn intervals_have_their_names() {
        for (semitones, name) in [
            (-1, "a semitone below"),
            (7, "7 semitones above"),
            (12, "an octave above"),
            (-24, "two octaves below"),
        ] {
            assert_eq!(interval(semitones), name);
        }
        // From what was heard, not from its whole hertz, which would be 10.505
        // semitones above C1.
        let heard = Caution::WrongNote(Hertz(59.6), Hertz(32.703)).to_string();
        assert!(heard.contains(" 10 semitones above"), "{heard}");
    }
}
