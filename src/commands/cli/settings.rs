//! What `tapewright settings` understands, and the commands that help a shell.

use std::path::PathBuf;

use clap::Args;
use clap_complete::Shell;

use super::DataOptions;

pub(super) const ABOUT: &str = "\
Show the settings and where each came from

What is the same every day need not be typed every day: it may stand in a file of settings, or in \
the environment. The command line counts more than the environment, that more than the file, and \
the file more than what is usual. This program never writes the file.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright settings
          each setting, its value, and where that came from
  tapewright settings --path
          where the file is looked for
  TAPEWRIGHT_TOLERANCE=portable tapewright settings
          what a variable would change

A file may say, a line each, whatever it likes of these:

  data = \"~/bench/tapewright\"
  color = \"never\"
  quiet = true
  ascii = true
  tolerance = \"professional\"
  channel = \"left\"
  input = \"usb audio\"
  output = \"usb speaker\"
  parallel = 2
  workshop = \"Bench 4, Example Street 1\"

Each is the option of the same name; its variable is TAPEWRIGHT_ and the name in
capitals. tapewright help settings says more.

Exit status: 0 shown, also where something in the file is wrong, which is shown
too.";

/// `tapewright settings`.
#[derive(Args, Debug)]
pub struct SettingsOptions {
    /// Only where the file is looked for
    #[arg(long)]
    pub path: bool,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub data: DataOptions,
}

pub(super) const COMPLETIONS_ABOUT: &str = "\
Write completions for a shell

Once they are installed, the Tab key completes commands and options. The Debian package brings them \
for bash, zsh and fish.";

pub(super) const COMPLETIONS_EXAMPLES: &str = "\
Examples:
  mkdir -p ~/.local/share/bash-completion/completions
  tapewright completions bash > ~/.local/share/bash-completion/completions/tapewright
          for bash, from the next shell on
  mkdir -p ~/.config/fish/completions
  tapewright completions fish > ~/.config/fish/completions/tapewright.fish
          for fish
  mkdir -p ~/.zfunc
  tapewright completions zsh > ~/.zfunc/_tapewright
          for zsh; in ~/.zshrc: fpath+=~/.zfunc; autoload -Uz compinit; compinit
  tapewright completions powershell >> $PROFILE
          for PowerShell
  tapewright completions elvish >> ~/.config/elvish/rc.elv
          for elvish

Exit status: 0 written, 2 usage, 3 they could not be written.";

/// `tapewright completions`.
#[derive(Args, Debug)]
pub struct CompletionsOptions {
    /// For which shell
    #[arg(value_enum, value_name = "SHELL")]
    pub shell: Shell,
}

pub(super) const MANPAGES_ABOUT: &str = "\
Write manual pages into a folder

A page each for the program and its commands, as --help shows them (section 1), and for the \
chapters of the manual (section 7). Pages of an earlier version are replaced. The Debian package \
brings them.";

pub(super) const MANPAGES_EXAMPLES: &str = "\
Examples:
  tapewright manpages /tmp/pages
          to be read with: man -l /tmp/pages/tapewright.1
  mkdir -p ~/.local/share/man
  tapewright manpages ~/.local/share/man
          for man tapewright-read, where man looks into that folder; it has a
          folder man1 and man7 for each section if those are there

Exit status: 0 written, 2 usage, 3 they could not be written.";

/// `tapewright manpages`.
#[derive(Args, Debug)]
pub struct ManpagesOptions {
    /// Folder for them; made if it is not there
    #[arg(value_name = "FOLDER")]
    pub folder: PathBuf,
}
