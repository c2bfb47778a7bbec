//! Asks for the parts of a machine, one after the other.

use std::io::{self, BufRead, IsTerminal, Write};

use super::{Exit, Failure};
use crate::references::TapeSpeed;
use crate::references::parts::{Part, PartsCard, ReelSide};

/// How a rate is known.
const WAYS: &str = "  How is its rate known?\n\
    \x20   1  turns a second        2  turns counted in a minute\n\
    \x20   3  its diameter where the tape runs on it (mm)\n\
    \x20   4  turned by another part, with a ratio\n\
    \x20   5  a belt: its length, on a pulley of another part (mm)\n\
    \x20   6  take-up reel          7  supply reel\n";

/// Asked at the terminal; `None` where no part was named.
pub(super) fn made_at_terminal(name: &str) -> Result<Option<PartsCard>, Failure> {
    if !(io::stdin().is_terminal() && io::stdout().is_terminal()) {
        return Err(no_terminal());
    }
    let mut asked = Asked {
        answers: io::stdin().lock(),
        out: io::stdout().lock(),
    };
    asked.card(name).map_err(|error| cannot_ask(&error))
}

fn no_terminal() -> Failure {
    Failure::new(
        Exit::Terminal,
        "parts are asked for one after the other, which needs a terminal; write the card by hand (tapewright help lines shows one) and name it as a file, such as --parts deck.toml",
    )
}

fn cannot_ask(error: &io::Error) -> Failure {
    Failure::new(
        Exit::Terminal,
        format!("cannot ask at this terminal: {error}; nothing was written"),
    )
}

/// Questions and answers.
struct Asked<R, W> {
    answers: R,
    out: W,
}

impl<R: BufRead, W: Write> Asked<R, W> {
    fn card(&mut self, name: &str) -> io::Result<Option<PartsCard>> {
        let mut card = PartsCard::new(name);
        self.say(
            "Enter alone takes what stands in brackets. Count turns by eye: mark a part with\n",
        )?;
        self.say("chalk while the power is off; keep sleeves and fingers off what turns.\n")?;
        let speed = "Speed of the tape, as 4.76 or 1.875ips [not needed]: ";
        card.speed_cm_s = self
            .answer_or_none(speed, tape_speed)?
            .map(|speed| speed.cm_s);
        let next = "Next part, as capstan or belt [that is all]: ";
        while let Some(name) = self.line(next)? {
            let part = self.part(name)?;
            let mut with = card.clone();
            with.parts.push(part);
            // A part that cannot be is asked for again, with the reason.
            match with.checked() {
                Ok(with) => card = with,
                Err(error) => self.say(&format!("  {error}.\n"))?,
            }
        }
        Ok((!card.parts.is_empty()).then_some(card))
    }

    fn part(&mut self, name: String) -> io::Result<Part> {
        self.say(WAYS)?;
        let way = self.answer("  1 to 7: ", |text| match text.parse() {
            Ok(way @ 1..=7) => Ok(way),
            _ => Err("type one of the numbers 1 to 7".to_owned()),
        })?;
        let mut part = Part {
            name,
            harmonics: vec![1],
            ..Part::default()
        };
        match way {
            1 => part.turns_per_second = Some(self.number("  Turns a second: ")?),
            2 => part.turns_per_second = Some(self.number("  Turns in a minute: ")? / 60.0),
            3 => part.diameter_mm = Some(self.number("  Diameter, mm: ")?),
            4 => {
                part.driven_by = Some(self.text("  Turned by which part: ")?);
                part.ratio = Some(self.number("  Turns of this one for one of that: ")?);
            }
            5 => {
                part.driven_by = Some(self.text("  On a pulley of which part: ")?);
                part.belt_mm = Some(self.number("  Length of the belt, mm: ")?);
                part.pulley_mm = Some(self.number("  Diameter of that pulley, mm: ")?);
            }
            side => {
                let take_up = side == 6;
                part.reel = Some(if take_up {
                    ReelSide::TakeUp
                } else {
                    ReelSide::Supply
                });
                part.hub_mm = Some(self.number("  Diameter of the empty hub, mm: ")?);
                part.tape_um = Some(self.number("  Thickness of the tape, µm (C60 18, C90 12): ")?);
                part.length_m = Some(self.number("  Length of the tape, m (C60 86, C90 129): ")?);
            }
        }
        let how_well = "  How well that is known, percent [2]: ";
        part.tolerance_percent = self.answer_or_none(how_well, number)?;
        let often = "  How often a turn it may show, as 1,2 [1]: ";
        if let Some(harmonics) = self.answer_or_none(often, whole_numbers)? {
            part.harmonics = harmonics;
        }
        let usual = "  No fault up to, percent of speed [not known]: ";
        part.normal_percent = self.answer_or_none(usual, number)?;
        Ok(part)
    }

    fn say(&mut self, text: &str) -> io::Result<()> {
        self.out.write_all(text.as_bytes())?;
        self.out.flush()
    }

    /// What was typed; `None` for nothing.
    fn line(&mut self, question: &str) -> io::Result<Option<String>> {
        self.say(question)?;
        let mut typed = String::new();
        if self.answers.read_line(&mut typed)? == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        let typed = typed.trim();
        Ok((!typed.is_empty()).then(|| typed.to_owned()))
    }

    /// Asks until it is understood, or nothing is typed.
    fn answer_or_none<T>(
        &mut self,
        question: &str,
        understood: impl Fn(&str) -> Result<T, String>,
    ) -> io::Result<Option<T>> {
        while let Some(typed) = self.line(question)? {
            match understood(&typed) {
                Ok(answer) => return Ok(Some(answer)),
                Err(why) => self.say(&format!("  {why}.\n"))?,
            }
        }
        Ok(None)
    }

    fn answer<T>(
        &mut self,
        question: &str,
        understood: impl Fn(&str) -> Result<T, String>,
    ) -> io::Result<T> {
        loop {
            if let Some(answer) = self.answer_or_none(question, &understood)? {
                return Ok(answer);
            }
        }
    }

    fn number(&mut self, question: &str) -> io::Result<f64> {
        self.answer(question, number)
    }

    fn text(&mut self, question: &str) -> io::Result<String> {
        self.answer(question, |text| Ok(text.to_owned()))
    }
}

fn tape_speed(text: &str) -> Result<TapeSpeed, String> {
    text.parse::<TapeSpeed>().map_err(|error| error.to_string())
}

fn number(text: &str) -> Result<f64, String> {
    match text.replace(',', ".").parse() {
        Ok(value) if f64::is_finite(value) => Ok(value),
        _ => Err(format!("\"{text}\" is no number")),
    }
}

fn whole_numbers(text: &str) -> Result<Vec<u32>, String> {
    let each = text.split([',', ' ']).filter(|it| !it.is_empty());
    let numbers: Result<Vec<u32>, _> = each.map(str::parse).collect();
    numbers.map_err(|_| format!("\"{text}\" is no list of whole numbers, such as 1,2"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(typed: &str) -> (io::Result<Option<PartsCard>>, String) {
        let mut asked = Asked {
            answers: typed.as_bytes(),
            out: Vec::new(),
        };
        let card = asked.card("bench deck");
        (card, String::from_utf8(asked.out).unwrap())
    }

    #[test]
    fn a_machine_is_asked_for_part_by_part() {
        let (card, _) = asked(
            "4.76\n\
             capstan\n3\n2.5\n1\n1,2\n0.05\n\
             pinch roller\n2\n76\n\n\n\n\
             motor\n4\ncapstan\n6.6\n3\n\n\n\
             take-up reel\n6\n22\n18\n86\n\n\n\n\
             \n",
        );
        let card = card.unwrap().unwrap();
        let rates: Vec<f64> = card.rates(None).iter().map(|it| it.turns[1]).collect();
        for (rate, wanted) in rates.iter().zip([6.0606, 76.0 / 60.0, 40.0, 0.6887]) {
            assert!((rate / wanted - 1.0).abs() < 1e-3, "{rates:?}");
        }
        assert_eq!(card.parts[0].harmonics, [1, 2]);
        assert_eq!(card.parts[0].normal_percent, Some(0.05));
        assert_eq!(PartsCard::from_toml(&card.to_toml().unwrap()), Ok(card));
    }

    #[test]
    fn what_cannot_be_is_asked_for_again_with_the_reason() {
        let (card, said) = asked(
            "fast\n\n\
             capstan\n9\n1\nsix\n6\n\n\n\n\
             motor\n4\nidler\n6\n\n\n\n\
             motor\n1\n40\n\n\n\n\
             \n",
        );
        let card = card.unwrap().unwrap();
        assert_eq!(card.parts.len(), 2);
        for reason in [
            "no tape speed",
            "numbers 1 to 7",
            "\"six\" is no number",
            "no part",
        ] {
            assert!(said.contains(reason), "{reason}: {said}");
        }
    }

    #[test]
    fn nothing_is_made_of_nothing() {
        assert_eq!(asked("\n\n").0.unwrap(), None);
        // The terminal is gone in the middle of a part.
        assert!(asked("\ncapstan\n1\n6").0.is_err());
    }
}
