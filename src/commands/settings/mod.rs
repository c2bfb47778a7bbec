//! What is set in a file or in the environment: given to the command line as
//! what holds where nothing is typed, so that all is judged in one place.

mod file;
mod show;

use std::ffi::OsString;
use std::fmt;
use std::path::{Path, PathBuf};

use clap::builder::ArgPredicate;
use clap::error::{ContextKind, ContextValue};
use clap::{Arg, ArgAction, ArgMatches, Command};

pub(super) use show::run;

/// Something that can be set: the option of the same name.
#[derive(Debug)]
struct Setting {
    name: &'static str,
    /// Commands whose option is meant; all that have it where this is empty.
    of: &'static [&'static str],
    /// It only counts beside one of these, where any is named.
    only_with: &'static [&'static str],
    /// It does not count beside these.
    never_with: &'static [&'static str],
    /// What holds where nobody has said anything.
    usual: &'static str,
}

const fn setting(name: &'static str, usual: &'static str) -> Setting {
    Setting {
        name,
        of: &[],
        only_with: &[],
        never_with: &[],
        usual,
    }
}

const SETTINGS: [Setting; 10] = [
    setting("data", ""),
    setting("color", "auto"),
    setting("quiet", "false"),
    setting("ascii", "false, but where the terminal has no Unicode"),
    setting("tolerance", "deck"),
    setting("channel", "auto"),
    Setting {
        of: &["watch", "clock"],
        // Where a recording is read there is no input.
        never_with: &["file", "list", "forget"],
        ..setting("input", "what the system's sound settings say")
    },
    Setting {
        of: &["watch", "practise", "tone"],
        // By itself it would ask for nothing.
        only_with: &["ticks", "listen", "play"],
        ..setting(
            "output",
            "none for ticks; for tone what the system's sound settings say",
        )
    },
    setting("parallel", "one recording for each core of the processor"),
    setting("workshop", "none"),
];

impl Setting {
    fn variable(&self) -> String {
        format!("TAPEWRIGHT_{}", self.name.to_uppercase())
    }

    /// The option of a command that it is.
    fn option<'a>(&self, command: &'a Command) -> Option<&'a Arg> {
        let is_meant = self.of.is_empty() || self.of.contains(&command.get_name());
        let mut options = command.get_arguments().filter(|_| is_meant);
        options.find(|it| it.get_long() == Some(self.name))
    }

    /// That of any command.
    fn any_option<'a>(&self, command: &'a Command) -> Option<&'a Arg> {
        let below = || command.get_subcommands().find_map(|it| self.any_option(it));
        self.option(command).or_else(below)
    }

    fn named(name: &str) -> Option<&'static Self> {
        SETTINGS.iter().find(|it| it.name == name)
    }
}

/// Where a value came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Origin {
    CommandLine,
    Environment,
    /// Its line.
    File(usize),
}

/// What is set.
#[derive(Debug)]
struct Value {
    of: &'static Setting,
    text: String,
    from: Origin,
}

/// Something that is wrong with what is set.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Fault(String);

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// All that is set, and all that is wrong with it.
#[derive(Debug, Default)]
pub struct Settings {
    path: Option<PathBuf>,
    values: Vec<Value>,
    faults: Vec<Fault>,
}

impl Settings {
    /// From the environment and a file, judged by the options of a command line.
    pub fn load(
        path: Option<PathBuf>,
        variable: impl Fn(&str) -> Option<OsString>,
        command: &Command,
    ) -> Self {
        let mut settings = Self::default();
        let said = path.as_deref().map_or_else(Vec::new, file::read);
        for said in said {
            match said {
                Ok(said) => settings.take_line(said, path.as_deref(), command),
                Err(fault) => settings.faults.push(fault),
            }
        }
        for of in &SETTINGS {
            let found = variable(&of.variable()).filter(|it| !it.is_empty());
            if let Some(found) = found {
                settings.take_variable(of, &found, command);
            }
        }
        settings.path = path;
        settings
    }

    fn take_line(&mut self, said: file::Line, path: Option<&Path>, command: &Command) {
        let file::Line { number, key, value } = said;
        let file = path.map(|it| it.display().to_string()).unwrap_or_default();
        let wrong = |what: String| Fault(format!("{file}, line {number}: {what}"));
        let Some(of) = Setting::named(&key) else {
            let known = SETTINGS.map(|it| it.name).join(", ");
            let what = format!("there is no setting \"{key}\"; there are {known}");
            self.faults.push(wrong(what));
            return;
        };
        let text = match value {
            Some(text) if of.name == "data" => file::place_of(&text, path),
            Some(text) => text,
            None => {
                let what = format!("{key} must be a text, a number, true or false");
                self.faults.push(wrong(what));
                return;
            }
        };
        match judged(of, &text, command) {
            Ok(()) => self.values.push(Value {
                of,
                text,
                from: Origin::File(number),
            }),
            Err(why) => {
                let what = format!("{key} = \"{text}\" cannot be: {why}");
                self.faults.push(wrong(what));
            }
        }
    }

    fn take_variable(&mut self, of: &'static Setting, found: &OsString, command: &Command) {
        let shown = found.to_string_lossy();
        let judged = match found.to_str() {
            Some(text) => judged(of, text, command),
            None => Err("it is no text in UTF-8".to_owned()),
        };
        match judged {
            Ok(()) => {
                self.values.retain(|it| it.of.name != of.name);
                self.values.push(Value {
                    of,
                    text: shown.into_owned(),
                    from: Origin::Environment,
                });
            }
            Err(why) => self.faults.push(Fault(format!(
                "{}={shown} in the environment cannot be: {why}",
                of.variable()
            ))),
        }
    }

    /// The command line with what is set in place of what is usual.
    pub fn applied_to(&self, mut command: Command) -> Command {
        let present: Vec<_> = (command.get_arguments())
            .map(|it| it.get_id().to_string())
            .collect();
        for value in &self.values {
            let Some(option) = value.of.option(&command).map(Arg::get_id).cloned() else {
                continue;
            };
            command = command.mut_arg(option, |it| value.applied_to(it, &present));
        }
        let below: Vec<String> = (command.get_subcommands())
            .map(|it| it.get_name().to_owned())
            .collect();
        for name in below {
            command = command.mut_subcommand(name, |it| self.applied_to(it));
        }
        command
    }

    /// What was typed counts most.
    pub(super) fn take_typed(&mut self, matches: &ArgMatches) {
        use clap::parser::ValueSource::CommandLine;
        let innermost = std::iter::successors(Some(matches), |it| Some(it.subcommand()?.1)).last();
        for of in &SETTINGS {
            // Ids of options that are set everywhere; others no command shows.
            let id = if of.name == "data" { "folder" } else { of.name };
            let typed = innermost.filter(|it| {
                it.try_contains_id(id).is_ok() && it.value_source(id) == Some(CommandLine)
            });
            let raw = typed.and_then(|it| it.get_raw(id)?.next());
            if let Some(raw) = raw {
                self.values.retain(|it| it.of.name != of.name);
                self.values.push(Value {
                    of,
                    text: raw.to_string_lossy().into_owned(),
                    from: Origin::CommandLine,
                });
            }
        }
    }

    /// What is set of the colours, for what is said before all is understood.
    pub(super) fn color(&self) -> Option<&str> {
        let color = self.values.iter().find(|it| it.of.name == "color");
        color.map(|it| it.text.as_str())
    }

    /// What is wrong, a sentence each.
    pub fn faults(&self) -> impl Iterator<Item = String> {
        let corrected = "; tapewright settings shows all of them";
        self.faults.iter().map(move |it| format!("{it}{corrected}"))
    }
}

impl Value {
    /// The option with this in place of what is usual; nobody has typed it, and
    /// it is at odds with nothing that was typed.
    fn applied_to(&self, option: Arg, present: &[String]) -> Arg {
        // Lives as long as the command line does, which is to the end.
        let text: &'static str = Box::leak(self.text.clone().into_boxed_str());
        let here = |ids: &'static [&'static str]| {
            let ids = ids.iter().copied();
            ids.filter(|id| present.iter().any(|it| it == id))
                .collect::<Vec<_>>()
        };
        let option = here(self.of.never_with).into_iter().fold(option, |it, id| {
            it.default_value_if(id, ArgPredicate::IsPresent, None::<&str>)
        });
        if self.of.only_with.is_empty() {
            return option.default_value(text);
        }
        here(self.of.only_with).into_iter().fold(option, |it, id| {
            it.default_value_if(id, ArgPredicate::IsPresent, Some(text))
        })
    }
}

/// Whether an option takes a value; why not.
fn judged(of: &Setting, text: &str, command: &Command) -> Result<(), String> {
    // One whose command this version has not takes anything.
    let Some(option) = of.any_option(command) else {
        return Ok(());
    };
    let alone = Arg::new("value")
        .long("value")
        .action(ArgAction::Set)
        .value_parser(option.get_value_parser().clone());
    let tried = Command::new("tried")
        .no_binary_name(true)
        .arg(alone)
        .try_get_matches_from([format!("--value={text}")]);
    tried.map(drop).map_err(|error| {
        if let Some(ContextValue::Strings(known)) = error.get(ContextKind::ValidValue) {
            return format!("must be {}", known.join(" or "));
        }
        let why = std::error::Error::source(&error).map(ToString::to_string);
        why.unwrap_or_else(|| "it is no such value".to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commands::cli::Cli;
    use clap::CommandFactory;

    #[test]
    fn every_setting_is_an_option_and_its_variable_is_documented() {
        let mut command = Cli::command();
        let help = command.render_long_help().to_string();
        let manual = include_str!("../../../assets/manual/settings.md");
        for setting in &SETTINGS {
            for text in [&help, manual] {
                assert!(text.contains(&setting.variable()), "{}", setting.name);
            }
            let known = setting.any_option(&command).is_some();
            assert!(known, "{}", setting.name);
            for one in setting.only_with.iter().chain(setting.never_with) {
                let mut commands = command.get_subcommands();
                assert!(
                    commands.any(|it| it.get_arguments().any(|it| it.get_id() == one)),
                    "{one}"
                );
            }
        }
    }
}
