//! `tapewright help`: a command as `--help` shows it, or a chapter of the
//! manual.

use std::fmt::Write as _;

use clap::CommandFactory;

use super::cli::{Cli, HelpOptions};
use super::say::write_words;
use super::{Exit, Failure, Outcome};

/// A name, what it is about, and its text.
type Chapter = (&'static str, &'static str, &'static str);

macro_rules! chapter {
    ($name:literal, $about:literal) => {
        (
            $name,
            $about,
            include_str!(concat!("../../assets/manual/", $name, ".md")),
        )
    };
}

/// In the order in which a job needs them.
pub(super) const MANUAL: [Chapter; 14] = [
    chapter!("safety", "before you open a machine"),
    chapter!("connect", "wiring, level, settings of the system"),
    chapter!("practise", "the whole job on a simulated machine"),
    chapter!("figures", "verdicts, what the figures mean, limits"),
    chapter!("lines", "what wavers: parts, their cards, likely causes"),
    chapter!(
        "wiper",
        "a trimmer that cannot be trusted, a crackling control"
    ),
    chapter!("tapes", "test tapes, their cards, tapes of your own"),
    chapter!(
        "references",
        "a held note, a passage, marks, a familiar recording"
    ),
    chapter!("speeds", "several speeds, two directions"),
    chapter!(
        "ticks",
        "what can be heard while the eyes are on the screwdriver"
    ),
    chapter!("clock", "the sample clock of the sound input"),
    chapter!("sheet", "what the owner of a machine is given"),
    chapter!("records", "keys, jobs, tables, scripts"),
    chapter!("settings", "settings, environment, shell, installing"),
];

pub(super) fn run(options: &HelpOptions) -> Outcome {
    let text = match options.topic.as_deref() {
        None => overview(),
        Some(topic) => of_topic(topic)?,
    };
    write_words(&text)?;
    Ok(Exit::Done)
}

fn overview() -> String {
    let mut text = Cli::command().render_long_help().to_string();
    text.push_str("\nMore, by tapewright help TOPIC:\n");
    for (name, about, _) in MANUAL {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "  {name:<12}{about}");
    }
    text
}

fn of_topic(topic: &str) -> Result<String, Failure> {
    if let Some((.., text)) = MANUAL.iter().find(|(name, ..)| *name == topic) {
        return Ok((*text).to_owned());
    }
    let mut cli = Cli::command();
    // Built, it knows the names of its own commands.
    cli.build();
    if let Some(command) = cli.find_subcommand_mut(topic) {
        return Ok(command.render_long_help().to_string());
    }
    let names: Vec<&str> = MANUAL.iter().map(|(name, ..)| *name).collect();
    Err(Failure::new(
        Exit::Usage,
        format!(
            "there is no help on \"{topic}\"; there is on each command, and on {}",
            names.join(", ")
        ),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_and_chapter_has_a_text_and_nothing_else_has() {
        for (name, about, text) in MANUAL {
            assert!(text.starts_with("# ") && !about.is_empty(), "{name}");
            assert_eq!(of_topic(name).unwrap(), text);
            assert!(overview().contains(name), "{name}");
            // Commands to be copied stay in one line.
            let prose = text.split("```").step_by(2).flat_map(str::lines);
            let widest = prose.map(|line| line.chars().count()).max();
            assert!(widest <= Some(80), "{name}: {widest:?}");
        }
        let watch = of_topic("watch").unwrap();
        assert!(watch.contains("Usage: tapewright watch"), "{watch}");
        let failure = of_topic("wacht").unwrap_err();
        assert_eq!(failure.exit, Exit::Usage);
        assert!(failure.message.contains("safety"), "{}", failure.message);
    }

    /// Options that the manual names, the program knows.
    #[test]
    fn the_manual_names_no_option_that_is_none() {
        let mut cli = Cli::command();
        cli.build();
        let known: Vec<String> = cli
            .get_subcommands()
            .flat_map(|command| command.get_subcommands().chain([command]))
            .flat_map(clap::Command::get_arguments)
            .filter_map(|argument| argument.get_long())
            .map(str::to_owned)
            .collect();
        for (name, _, text) in MANUAL {
            for part in text.split("--").skip(1) {
                let option: String = part
                    .chars()
                    .take_while(|it| it.is_ascii_lowercase() || *it == '-')
                    .collect();
                let is_one = option.is_empty() || known.contains(&option);
                assert!(is_one, "{name}: --{option}");
            }
        }
    }
}
