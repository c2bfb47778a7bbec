//! `tapewright manpages`: a page each for the program, its commands and the
//! chapters of the manual.

mod roff;

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use clap::{Command, CommandFactory};
use clap_mangen::Man;

use super::cli::{Cli, ManpagesOptions};
use super::help::MANUAL;
use super::{Exit, Failure, Outcome};
use crate::records::whole;

pub(super) fn run(options: &ManpagesOptions) -> Outcome {
    let folder = &options.folder;
    write_all(folder).map_err(|error| {
        let message = format!(
            "{}: the pages cannot be written: {error}; name a folder of yours",
            folder.display()
        );
        Failure::new(Exit::File, message)
    })?;
    Ok(Exit::Done)
}

fn write_all(folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let mut program = Cli::command();
    program.build();
    write_command(folder, &program)?;
    for (name, about, text) in MANUAL {
        let page = roff::chapter(name, about, text);
        let file = folder.join(format!("tapewright-{name}.7"));
        whole::write(&file, true, |mut to| to.write_all(page.as_bytes()))?;
    }
    Ok(())
}

/// A command and those below it.
fn write_command(folder: &Path, command: &Command) -> io::Result<()> {
    let below = command.get_subcommands().filter(|it| !it.is_hide_set());
    for one in below {
        write_command(folder, one)?;
    }
    let mut page = Vec::new();
    // What stands behind the options has lines of its own, which are kept.
    let behind = command.get_after_long_help().map(ToString::to_string);
    let man = Man::new(command.clone().after_long_help("").after_help(""));
    man.render_name_section(&mut page)?;
    man.render_synopsis_section(&mut page)?;
    man.render_description_section(&mut page)?;
    man.render_options_section(&mut page)?;
    if command.has_subcommands() {
        man.render_subcommands_section(&mut page)?;
    }
    let file = man.get_filename();
    let name = file.trim_end_matches(".1");
    let page = roff::title(name, '1')
        + &roff::without_needless_breaks(&String::from_utf8_lossy(&page))
        + &roff::as_it_stands(&behind.unwrap_or_default());
    let place = folder.join(&file);
    whole::write(&place, true, |mut to| to.write_all(page.as_bytes()))
}
