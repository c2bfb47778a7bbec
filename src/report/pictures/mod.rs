//! Every picture there is, as SVG: on a page, as a file of its own, and turned
//! into PNG. Drawn by nothing but text, so that the same figures give the same
//! picture.

mod frame;
mod letters;
mod lines;
mod png;
mod points;
mod scale;
mod style;
mod sweeps;
mod tracks;

use maud::{Markup, PreEscaped, html};

pub use lines::lines;
pub use png::{PngError, is_ours as is_our_png};
pub use points::{TrendPoint, along, supply, trend};
pub use scale::{ScaleMark, scale};
pub use style::of_page;
pub use sweeps::sweeps;
pub use tracks::{Charted, track};

/// Which of the two something is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Before the work: hollow and dashed.
    Before,
    /// After it: whole.
    After,
}

impl Side {
    /// The word for it, and the beginning of its classes.
    pub fn word(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::After => "after",
        }
    }

    /// Class of a curve of it.
    fn curve(self) -> &'static str {
        match self {
            Self::Before => "before-line dashed",
            Self::After => "after-line",
        }
    }
}

/// How every file of a picture begins.
pub const SVG_BEGINS: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
                              <svg xmlns=\"http://www.w3.org/2000/svg\" class=\"tw\"";

/// A picture in units of a screen's pixel.
#[derive(Clone, Debug)]
pub struct Picture {
    /// Stem of the file that it becomes.
    pub name: String,
    /// What it shows, in a few words.
    pub title: String,
    /// What can be read off it, for those who cannot see it.
    pub says: String,
    size: [f64; 2],
    drawn: Markup,
}

impl Picture {
    fn new(name: &str, title: &str, says: String, size: [f64; 2], drawn: Markup) -> Self {
        Self {
            name: name.to_owned(),
            title: title.to_owned(),
            says,
            size,
            drawn,
        }
    }

    /// On a page that has [`of_page`] among its styles.
    pub fn inline(&self) -> Markup {
        let [width, height] = self.size;
        html! {
            svg class="tw" role="img" viewBox={ "0 0 " (width) " " (height) }
                aria-label={ (self.title) ". " (self.says) } { (self.drawn) }
        }
    }

    /// A file of its own, with its style. One that is `simulated` says so.
    pub fn svg(&self, simulated: bool) -> String {
        let [width, height] = self.size;
        let drawn = html! {
            svg xmlns="http://www.w3.org/2000/svg" class="tw" role="img" width=(width)
                height=(height) viewBox={ "0 0 " (width) " " (height) } {
                title { (self.title) }
                desc { (self.says) }
                style { (PreEscaped(style::of_file())) }
                rect class="paper" width=(width) height=(height) {}
                (self.drawn)
                @if simulated {
                    text class="stamp mid" x=(width / 2.0) y=(height / 2.0 + 10.0) { "SIMULATED" }
                }
            }
        };
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n",
            drawn.into_string()
        )
    }

    /// The same in pixels, twice as many each way, for paper.
    pub fn png(&self, simulated: bool) -> Result<Vec<u8>, PngError> {
        png::of(&self.svg(simulated))
    }
}
