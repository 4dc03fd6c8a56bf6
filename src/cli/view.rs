//! How a run is shown: takes the options and what is around the program, gives the terminal's face.

use clap::Args;

use super::Surroundings;
use crate::edge::console::Look;
use crate::faces::big::Looks;
use crate::faces::block::Ink;
use crate::faces::reach::RowHeight;

/// The heading of these options in the help.
const SHOWN: &str = "How it is shown (or set STEPBELL_VIEW to big, inline, linear or plain)";

/// Options that every command has which shows a run.
#[derive(Args, Clone, Debug, Default)]
pub struct ViewArgs {
    /// Large digits in the whole terminal, to be read across a garage
    #[arg(long, help_heading = SHOWN, conflicts_with_all = ["inline", "linear", "plain"])]
    pub big: bool,
    /// A small view that stands among the terminal's other text
    #[arg(long, help_heading = SHOWN, conflicts_with_all = ["linear", "plain"])]
    pub inline: bool,
    /// For a screen reader: whole sentences, each change once, the cursor never moves back
    #[arg(long, help_heading = SHOWN, conflicts_with = "plain")]
    pub linear: bool,
    /// Plain lines with the run's seconds, and answers as lines, also in a terminal
    #[arg(long, help_heading = SHOWN)]
    pub plain: bool,
    /// Nothing moves but the digits (or set STEPBELL_REDUCED_MOTION)
    #[arg(long, help_heading = SHOWN)]
    pub reduced_motion: bool,
    /// How high a row of the terminal is, in mm: the large digits are made to be read from 3 m
    #[arg(long, help_heading = SHOWN, value_name = "MM", default_value = "3", value_parser = RowHeight::parse)]
    pub row_height: RowHeight,
}

/// What `STEPBELL_VIEW` can say.
const VIEWS: [&str; 4] = ["big", "inline", "linear", "plain"];

impl ViewArgs {
    /// The face, and whether keys are read one by one. Without an option `STEPBELL_VIEW` decides, then
    /// the command. Where there is no terminal, painted views become plain lines.
    ///
    /// # Errors
    /// A sentence, when `STEPBELL_VIEW` names no view.
    pub fn look(&self, around: &Surroundings, usual: &'static str) -> Result<(Look, bool), String> {
        let options = [self.big, self.inline, self.linear, self.plain];
        let option = VIEWS.iter().zip(options).find(|(_, on)| *on).map(|(name, _)| *name);
        let name = match (option, around.view.as_deref().filter(|set| !set.is_empty())) {
            (Some(name), _) => name,
            (None, None) => usual,
            (None, Some(set)) => VIEWS.into_iter().find(|name| *name == set).ok_or_else(|| {
                format!("STEPBELL_VIEW is {set:?}; known are {}", VIEWS.join(", "))
            })?,
        };
        let colour = !around.no_colour;
        let look = match name {
            "linear" => Look::Linear,
            "big" if around.terminal => Look::Big(Looks {
                colour,
                ink: if around.blocks { Ink::Blocks } else { Ink::Ascii },
                row: self.row_height,
                calm: self.reduced_motion || around.reduced_motion,
            }),
            "inline" if around.terminal => Look::Inline { colour },
            _ => Look::Plain,
        };
        Ok((look, around.terminal && look != Look::Plain))
    }
}
