//! A terminal of 80 by 24 cells that a program runs in, and whose screen can
//! be read as a technician reads it, large figures included.

use std::path::PathBuf;
use std::process::{Command, Output, Stdio};
use std::thread;
use std::time::Duration;

use super::environment::within;

/// A running terminal. Ends with its value.
pub struct Terminal {
    socket: PathBuf,
}

impl Terminal {
    /// Starts a shell command in a terminal. When it has ended, its exit
    /// status is on the screen as `ended with 0`.
    pub fn start(folder: &std::path::Path, command: &str) -> Self {
        let terminal = Self {
            socket: folder.join("terminal"),
        };
        let watched = format!("{command}; echo \"ended with $?\"; exec sleep 1000");
        let started = terminal.tmux(&["new-session", "-d", "-x", "80", "-y", "24", &watched]);
        assert!(
            started.status.success(),
            "no terminal: {}",
            String::from_utf8_lossy(&started.stderr)
        );
        terminal
    }

    /// What is on the screen.
    pub fn screen(&self) -> Screen {
        let captured = self.tmux(&["capture-pane", "-p"]);
        Screen(String::from_utf8_lossy(&captured.stdout).into_owned())
    }

    /// Presses a key.
    pub fn press(&self, key: &str) {
        assert!(self.tmux(&["send-keys", key]).status.success());
    }

    /// Waits until the screen is as wanted, and fails with what it shows
    /// instead.
    pub fn wait_for(&self, limit: Duration, what: &str, is_so: impl Fn(&Screen) -> bool) -> Screen {
        let mut last = self.screen();
        let start = std::time::Instant::now();
        while !is_so(&last) {
            assert!(
                start.elapsed() < limit,
                "not within {limit:?}: {what}; the screen shows\n{}",
                last.0
            );
            thread::sleep(Duration::from_millis(30));
            last = self.screen();
        }
        last
    }

    fn tmux(&self, arguments: &[&str]) -> Output {
        Command::new("tmux")
            .arg("-S")
            .arg(&self.socket)
            .args(["-u", "-f", "/dev/null"])
            .args(arguments)
            .env("TERM", "xterm-256color")
            .stdin(Stdio::null())
            .output()
            .expect("tmux runs")
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        // Only the server behind this socket, with all that runs in it.
        let _ = self.tmux(&["kill-server"]);
        if !thread::panicking() {
            within(Duration::from_secs(5), "the terminal ends", || {
                !self.tmux(&["list-sessions"]).status.success()
            });
        }
    }
}

/// The text of a screen.
pub struct Screen(pub String);

impl Screen {
    /// True where the text stands in it, within one line.
    pub fn has(&self, text: &str) -> bool {
        self.0.contains(text)
    }

    /// The signed figure in large letters.
    pub fn large_figure(&self) -> Option<f64> {
        let (text, _) = self.figure()?;
        // Two decimals: anything less is a figure that is half drawn.
        let decimals = text.split_once('.')?.1;
        (decimals.len() == 2).then(|| text.parse().ok())?
    }

    /// True where the word stands beside the large figure, in whatever size.
    pub fn says_beside_figure(&self, word: &str) -> bool {
        let Some((_, top)) = self.figure() else {
            return false;
        };
        let mut beside = self.0.lines().skip(top).take(5);
        self.has_large(word) || beside.any(|line| line.contains(word))
    }

    /// The first run of large letters that is a number, and its uppermost
    /// row.
    fn figure(&self) -> Option<(String, usize)> {
        let cells = self.cells();
        let width = cells.iter().map(Vec::len).max()?;
        (0..cells.len())
            .flat_map(|y| (0..width).map(move |x| (x, y)))
            .map(|(x, y)| (number_at(&cells, x, y), y))
            .find(|(text, _)| text.parse::<f64>().is_ok())
    }

    /// True where the word stands there in large letters.
    fn has_large(&self, word: &str) -> bool {
        let cells = self.cells();
        let mut places = cells
            .iter()
            .enumerate()
            .flat_map(|(y, row)| (0..row.len()).map(move |x| (x, y)));
        places.any(|(x, y)| {
            let mut x = x;
            word.chars().all(|letter| {
                let Some(glyph) = glyph(letter) else {
                    return false;
                };
                let fits = matches(&cells, (x, y), glyph);
                x += glyph[0].len() + 1;
                fits
            })
        })
    }

    fn cells(&self) -> Vec<Vec<bool>> {
        self.0
            .lines()
            .map(|line| line.chars().map(|cell| cell == '█').collect())
            .collect()
    }
}

type Glyph = [&'static str; 5];

/// How the large letters look, five rows high.
const GLYPHS: [(char, Glyph); 24] = [
    ('0', ["######", "##  ##", "##  ##", "##  ##", "######"]),
    ('1', ["  ##  ", "####  ", "  ##  ", "  ##  ", "######"]),
    ('2', ["######", "    ##", "######", "##    ", "######"]),
    ('3', ["######", "    ##", " #####", "    ##", "######"]),
    ('4', ["##  ##", "##  ##", "######", "    ##", "    ##"]),
    ('5', ["######", "##    ", "######", "    ##", "######"]),
    ('6', ["######", "##    ", "######", "##  ##", "######"]),
    ('7', ["######", "    ##", "   ## ", "  ##  ", "  ##  "]),
    ('8', ["######", "##  ##", "######", "##  ##", "######"]),
    ('9', ["######", "##  ##", "######", "    ##", "######"]),
    ('+', ["      ", "  ##  ", "######", "  ##  ", "      "]),
    ('-', ["      ", "      ", "######", "      ", "      "]),
    ('.', ["  ", "  ", "  ", "  ", "##"]),
    ('S', ["#####", "##   ", "#####", "   ##", "#####"]),
    ('L', ["##  ", "##  ", "##  ", "##  ", "####"]),
    ('O', ["#####", "## ##", "## ##", "## ##", "#####"]),
    ('W', ["##   ##", "##   ##", "## # ##", "### ###", "##   ##"]),
    ('F', ["#####", "##   ", "#### ", "##   ", "##   "]),
    ('A', ["#####", "## ##", "#####", "## ##", "## ##"]),
    ('T', ["####", " ## ", " ## ", " ## ", " ## "]),
    ('R', ["#### ", "## ##", "#### ", "## ##", "## ##"]),
    ('I', ["##", "##", "##", "##", "##"]),
    ('G', ["#####", "##   ", "## ##", "## ##", "#####"]),
    ('H', ["## ##", "## ##", "#####", "## ##", "## ##"]),
];

fn glyph(letter: char) -> Option<Glyph> {
    GLYPHS
        .iter()
        .find(|(known, _)| *known == letter)
        .map(|(_, glyph)| *glyph)
}

/// The large signs and digits that stand there one after the other.
fn number_at(cells: &[Vec<bool>], mut x: usize, y: usize) -> String {
    let mut text = String::new();
    let signs = GLYPHS.iter().filter(|(letter, _)| !letter.is_alphabetic());
    while let Some((letter, glyph)) = signs
        .clone()
        .find(|(_, glyph)| matches(cells, (x, y), *glyph))
    {
        text.push(*letter);
        x += glyph[0].len() + 1;
    }
    text
}

fn matches(cells: &[Vec<bool>], (x, y): (usize, usize), glyph: Glyph) -> bool {
    let at = |x: usize, y: usize| {
        cells
            .get(y)
            .and_then(|row| row.get(x))
            .copied()
            .unwrap_or(false)
    };
    glyph.iter().enumerate().all(|(down, row)| {
        row.chars()
            .enumerate()
            .all(|(across, cell)| at(x + across, y + down) == (cell == '#'))
    })
}

#[cfg(test)]
mod tests {
    use super::Screen;

    #[test]
    fn large_figures_are_read() {
        let screen = Screen(
            "title\n\
             \x20               ██      ██████ ██████  SLOW\n\
             \x20             ████      ██  ██     ██\n\
             \x20      ██████   ██      ██  ██ ██████\n\
             \x20               ██      ██  ██ ██\n\
             \x20             ██████ ██ ██████ ██████ %\n\
             L ████████████████████│· -6.0 dB  FAST\n"
                .to_owned(),
        );
        assert_eq!(screen.large_figure(), Some(-1.02));
        assert!(screen.says_beside_figure("SLOW"));
        assert!(!screen.says_beside_figure("FAST"));
        assert_eq!(Screen("no figure ██ ██\n".to_owned()).large_figure(), None);
    }

    #[test]
    fn large_words_are_read() {
        let screen = Screen(
            "██████       █████ ██   █████ ██   ██\n\
             ██  ██       ██    ██   ██ ██ ██   ██\n\
             ██  ██       █████ ██   ██ ██ ██ █ ██\n\
             ██  ██          ██ ██   ██ ██ ███ ███\n\
             ██████ %     █████ ████ █████ ██   ██\n"
                .to_owned(),
        );
        assert!(screen.says_beside_figure("SLOW"));
        assert!(!screen.says_beside_figure("FAST"));
    }
}
