//! `stepbell rehearse FILE`: takes a script, lets a person practise it in front of an imaginary vehicle,
//! tells the score; with `--runs`, see `odds`.

use std::sync::Arc;

use super::Surroundings;
use super::args::{OnOff, RehearseArgs, Whose};
use super::exit::Exit;
use super::guide::{Faces, ended, heard, lead};
use super::odds::{self, law};
use super::out::{self, Answer};
use super::script::{examined, pictures};
use crate::edge::clock::{Pace, any_number};
use crate::edge::practice::Rehearsing;
use crate::faces::orders::refused;
use crate::faces::score::score;
use crate::faces::words::Banner;
use crate::journal::entry;
use crate::procedure::Examined;
use crate::procedure::model::Procedure;
use crate::procedure::plan::Choices;
use crate::procedure::timing::SpeechLengths;
use crate::vehicle::law::Law;
use crate::vehicle::live::{Hands, Live};
use crate::vehicle::order::{Order, fault};
use crate::vehicle::{Answers, Draw};

/// How a person practises.
#[derive(Clone, Debug)]
pub struct Rehearsal {
    seed: u64,
    law: Law,
    orders: Vec<Order>,
    hints: bool,
    hands: Hands,
    short: bool,
    /// How fast time goes.
    pub pace: Pace,
}

impl Rehearsal {
    fn new(args: &RehearseArgs) -> Rehearsal {
        Rehearsal {
            seed: args.seed.unwrap_or_else(any_number),
            law: law(args),
            orders: args.fault.clone(),
            hints: args.hints == OnOff::On,
            hands: if args.hands == Whose::Own { Hands::Own } else { Hands::Drawn },
            short: args.short,
            pace: args.pace.unwrap_or(Pace::TRUE),
        }
    }

    /// What stands on every face all the time.
    #[must_use]
    pub fn banners(&self) -> Vec<Banner> {
        let slower = Banner::Slower(self.pace.thousandths());
        let slower = (self.pace != Pace::TRUE).then_some(slower);
        [Banner::Rehearsal].into_iter().chain(slower).collect()
    }

    /// Whether the person's own hands touch the vehicle.
    #[must_use]
    pub fn is_own_hands(&self) -> bool {
        self.hands == Hands::Own
    }

    /// What the record says of it.
    #[must_use]
    pub fn terms(&self) -> entry::RehearsalTerms {
        entry::RehearsalTerms {
            seed: self.seed,
            faults: self.orders.iter().map(ToString::to_string).collect(),
            pace: u32::from(self.pace.thousandths()),
            hints: self.hints,
            own_hands: self.is_own_hands(),
            law: if self.law == Law::Inside { "inside" } else { "tails" }.to_owned(),
        }
    }

    /// The vehicle to practise on.
    #[must_use]
    pub fn practice(&self, procedure: &Arc<Procedure>, speech: &SpeechLengths) -> Rehearsing {
        let draw = Draw::named(self.seed, self.law);
        let live =
            Live::new(Arc::clone(procedure), speech.clone(), draw, self.orders.clone(), self.hands);
        let answers = Answers::new(Arc::clone(procedure), &Choices::default());
        Rehearsing::new(live, answers, self.terms(), self.short)
    }

    /// An order that cannot be carried out with any count is refused before the run.
    fn check_orders(&self, examined: &Examined, procedure: &Procedure) -> Result<(), String> {
        for order in &self.orders {
            let mut draw = Draw::named(self.seed, self.law);
            let all = examined.plans.iter().map(|plan| fault(order, procedure, plan, &mut draw));
            let all: Vec<_> = all.collect();
            if let (true, Some(Err(why))) = (all.iter().all(Result::is_err), all.last()) {
                return Err(refused(why));
            }
        }
        Ok(())
    }
}

/// Lets a person practise, or tells the odds.
#[must_use]
pub fn run(args: &RehearseArgs, around: &Surroundings) -> Exit {
    if args.runs.is_some() {
        return out::say(&odds::run(args));
    }
    if args.guide.unproven.is_some() {
        let why = "--unproven is for `guide`: a script that is not proven may be practised without";
        return out::say(&Answer::trouble(Exit::Usage, why));
    }
    let mut examined = match examined(&args.guide.file) {
        Ok(examined) => examined,
        Err(why) => return out::say(&Answer::trouble(Exit::Unreadable, why)),
    };
    let sound = examined.is_sound();
    let Some(procedure) = examined.procedure.clone().filter(|_| sound) else {
        let text = pictures(&examined, false);
        let err = format!("{text}\nstepbell: not rehearsed while an error stands.\n");
        return out::say(&Answer { out: String::new(), err, exit: Exit::Findings });
    };
    let rehearsal = Rehearsal::new(args);
    if let Err(why) = rehearsal.check_orders(&examined, &procedure) {
        return out::say(&Answer::trouble(Exit::Usage, why));
    }
    let face = match args.guide.view.look(around, "big") {
        Ok(face) => face,
        Err(why) => return out::say(&Answer::trouble(Exit::Usage, why)),
    };
    let heard = match heard(&args.guide, around, &mut examined, &procedure, Some(&rehearsal)) {
        Ok(heard) => heard,
        Err(why) => return out::say(&Answer::trouble(Exit::Unreadable, why)),
    };
    let faces = Faces { heard, face };
    match lead(&args.guide, around, &examined, procedure, faces, None, Some(&rehearsal)) {
        Ok(outcome) => {
            let exit = ended(&outcome);
            let told = outcome.score.as_ref().map(score).unwrap_or_default();
            let seed = format!("The same vehicle again: --seed {}\n", rehearsal.seed);
            out::say(&Answer { out: format!("\n{told}{seed}"), err: String::new(), exit })
        }
        Err(why) => out::say(&Answer::trouble(Exit::Unable, why)),
    }
}
