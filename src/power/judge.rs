//! From a [`Question`] to an [`Assessment`]: bounds of every quantity, reserve by each table, the
//! battery alone, then the charger.
//!
//! Takes the question; gives the assessment. Total: an implausible question (no current, ratings
//! that contradict each other) is answered with what has to be asked.

use super::formula::{self, Discharge};
use super::tables::{DISPUTED_BY, UNDISPUTED_FROM, UNDISPUTED_TO};
use super::units::{
    Between, Exponent, MilliampHours, Milliamps, Millivolts, PerMille, TenthsCelsius,
};
use super::{
    Ask, Assessment, Charger, Demand, Finding, Kind, Length, Load, Question, Rated, Table, Verdict,
};
use crate::clock::Millis;

/// Judges whether the run may start. See the module for how uncertainty is carried.
#[must_use]
pub fn assess(question: &Question) -> Assessment {
    let mut notes = Notes::default();
    if question.demand.length == Length::Unbounded {
        notes.ask(Ask::Limit);
    }
    let state = State::of(question, &mut notes);
    let charge = state.charge();
    let Some((ratings, draw)) = state.ratings.as_ref().zip(state.draw) else {
        return Assessment {
            verdict: Verdict::DoNotStart,
            reserve: None,
            by_table: Vec::new(),
            charge,
            findings: notes.findings,
            asks: notes.asks,
        };
    };
    let alone = state.discharges(ratings, draw);
    let by_table = by_table(&alone);
    note_tables(question.battery.kind, &by_table, &mut notes);
    let bench = Bench { question, state: &state, ratings, draw, alone: &alone, charge };
    let verdict = bench.verdict(&mut notes);
    let verdict = if bench.blocked(&notes) { Verdict::DoNotStart } else { verdict };
    Assessment {
        verdict,
        reserve: hull_of(&by_table),
        by_table,
        charge,
        findings: notes.findings,
        asks: notes.asks,
    }
}

/// Findings and asks as they come up; no ask twice.
#[derive(Default)]
struct Notes {
    findings: Vec<Finding>,
    asks: Vec<Ask>,
}

impl Notes {
    fn find(&mut self, finding: Finding) {
        self.findings.push(finding);
    }

    fn ask(&mut self, ask: Ask) {
        if !self.asks.contains(&ask) {
            self.asks.push(ask);
        }
    }
}

/// One believable pair of capacity and exponent.
type Rating = (MilliampHours, Exponent);

/// The load as bounds, with the sag that belongs to it.
#[derive(Clone, Copy)]
struct Draw {
    load: Between<Milliamps>,
    sag: Between<Millivolts>,
    /// A measured sag stays as it is; one that follows from a resistance follows the current.
    measured: bool,
}

/// The battery's state as bounds.
struct State<'a> {
    question: &'a Question,
    /// The rest reading, where it says anything.
    rest: Option<Millivolts>,
    /// How far the rest reading may be off, either way.
    widening: Millivolts,
    health: Between<PerMille>,
    ratings: Option<Vec<Rating>>,
    draw: Option<Draw>,
}

impl<'a> State<'a> {
    fn of(question: &'a Question, notes: &mut Notes) -> State<'a> {
        let ratings = ratings(question.battery.kind, question.battery.rated, notes);
        let draw = draw(question, notes);
        let rest = rest(question, notes);
        let widening = widening(question, notes);
        note_cold(question.battery.temperature, notes);
        State { question, rest, widening, health: health(question, notes), ratings, draw }
    }

    /// The rest voltage as a table counts it: held at its full voltage, then widened.
    fn counted(&self, table: Table) -> Option<Between<Millivolts>> {
        let rest = self.rest?.min(table.full());
        Some(Between { least: rest.minus(self.widening), most: rest.plus(self.widening) })
    }

    /// The battery's discharge by each table under each rating.
    fn discharges(&self, ratings: &[Rating], draw: Draw) -> Vec<Discharge> {
        let floor = self.question.demand.floor;
        let floor = Between { least: floor.plus(draw.sag.least), most: floor.plus(draw.sag.most) };
        let tables = self.question.battery.kind.tables();
        tables
            .iter()
            .flat_map(|&table| ratings.iter().map(move |&rating| (table, rating)))
            .map(|(table, (capacity, k))| Discharge {
                table,
                rest: self.counted(table),
                floor,
                load: draw.load,
                capacity,
                k,
                health: self.health,
                temperature: self.question.battery.temperature,
            })
            .collect()
    }

    fn charge(&self) -> Between<PerMille> {
        let tables = self.question.battery.kind.tables();
        let of_table = |&table: &Table| match self.counted(table) {
            None => Between { least: PerMille(0), most: PerMille(1000) },
            Some(rest) => Between {
                least: formula::charge_at(table, rest.least),
                most: formula::charge_at(table, rest.most),
            },
        };
        tables
            .iter()
            .map(of_table)
            .reduce(Between::hull)
            .unwrap_or(Between { least: PerMille(0), most: PerMille(1000) })
    }
}

fn ratings(kind: Kind, rated: Option<Rated>, notes: &mut Notes) -> Option<Vec<Rating>> {
    let (low, high) = kind.exponents();
    let bounded = Finding::ExponentBounded { k: Between { least: low, most: high } };
    let believed = |k: Exponent| (Exponent::ONE..=Exponent::MOST).contains(&k);
    let ratings = match rated {
        Some(Rated::TwentyHours(capacity)) => {
            notes.find(bounded);
            vec![(capacity, low), (capacity, high)]
        }
        Some(Rated::ReserveMinutes(reserve)) => {
            notes.find(bounded);
            let under = |k| (formula::capacity_from_reserve(reserve, k), k);
            vec![under(low), under(high)]
        }
        Some(Rated::Both { capacity, reserve }) => match formula::exponent(reserve, capacity) {
            Some(k) if believed(k) => vec![(capacity, k)],
            exponent => {
                notes.find(Finding::RatingsDisagree { exponent });
                Vec::new()
            }
        },
        Some(Rated::WithExponent { capacity, exponent }) if believed(exponent) => {
            vec![(capacity, exponent)]
        }
        Some(Rated::WithExponent { exponent, .. }) => {
            notes.find(Finding::RatingsDisagree { exponent: Some(exponent) });
            Vec::new()
        }
        None => Vec::new(),
    };
    let usable = !ratings.is_empty() && ratings.iter().all(|(capacity, _)| capacity.0 > 0);
    if !usable {
        notes.ask(Ask::Ratings);
    }
    usable.then_some(ratings)
}

fn draw(question: &Question, notes: &mut Notes) -> Option<Draw> {
    let settings = &question.settings;
    let error = question.meter.millivolts();
    let known = question.battery.resistance;
    let widened = |drop: Millivolts| Between {
        least: drop.minus(error).max(Millivolts(0)),
        most: drop.plus(error).max(Millivolts(0)),
    };
    let draw = match question.load {
        Some(Load::Amperes(amperes)) => {
            let resistance = known.unwrap_or(settings.resistance);
            notes.find(Finding::SagNotMeasured { resistance });
            let sag = Between::exactly(formula::sag(amperes, resistance));
            Some(Draw { load: Between::exactly(amperes), sag, measured: false })
        }
        Some(Load::Both { amperes, drop }) => {
            Some(Draw { load: Between::exactly(amperes), sag: widened(drop), measured: true })
        }
        Some(Load::Drop(drop)) => {
            let sag = widened(drop);
            let lowest = known.unwrap_or(settings.least_resistance);
            let highest = known.unwrap_or(settings.resistance).max(lowest);
            let load = Between {
                least: formula::current(sag.least, highest).max(settings.least_load),
                most: formula::current(sag.most, lowest).max(settings.least_load),
            };
            notes.find(Finding::LoadFromDrop { load });
            Some(Draw { load, sag, measured: true })
        }
        None => None,
    };
    let usable = draw.filter(|draw| draw.load.least.0 > 0);
    if usable.is_none() {
        notes.ask(Ask::Load);
    }
    usable
}

/// The rest reading, unless it is missing or only surface charge.
fn rest(question: &Question, notes: &mut Notes) -> Option<Millivolts> {
    let Some(read) = question.battery.rest else {
        notes.ask(Ask::RestVoltage);
        return None;
    };
    let above = question.battery.kind.surface_charge_above();
    if read > above {
        notes.find(Finding::SurfaceCharge { read, above });
        notes.ask(Ask::RestVoltageAgain);
        return None;
    }
    Some(read)
}

fn widening(question: &Question, notes: &mut Notes) -> Millivolts {
    let error = question.meter.millivolts();
    if (UNDISPUTED_FROM..=UNDISPUTED_TO).contains(&question.battery.temperature) {
        return error;
    }
    notes.find(Finding::VoltageDisputed { by: DISPUTED_BY });
    error.plus(DISPUTED_BY)
}

fn note_cold(at: TenthsCelsius, notes: &mut Notes) {
    let share = formula::capacity_share(at);
    if share.most == PerMille(0) {
        notes.find(Finding::ColderThanTable);
    } else if share.least < PerMille(1000) {
        notes.find(Finding::CapacityInTheCold { share });
    }
}

fn health(question: &Question, notes: &mut Notes) -> Between<PerMille> {
    let (age, settings) = (question.battery.age, &question.settings);
    let whole = PerMille(1000);
    if age.is_some_and(|age| age <= settings.old_after) {
        return Between::exactly(whole);
    }
    let health = settings.old_health.min(whole);
    notes.find(Finding::CountedAsOld { age, health });
    Between { least: health, most: whole }
}

fn by_table(discharges: &[Discharge]) -> Vec<(Table, Between<Millis>)> {
    let mut found: Vec<(Table, Between<Millis>)> = Vec::new();
    for discharge in discharges {
        let reserve = formula::reserve(discharge);
        match found.iter_mut().find(|(table, _)| *table == discharge.table) {
            Some((_, widest)) => *widest = widest.hull(reserve),
            None => found.push((discharge.table, reserve)),
        }
    }
    found
}

fn hull_of(by_table: &[(Table, Between<Millis>)]) -> Option<Between<Millis>> {
    by_table.iter().map(|(_, reserve)| *reserve).reduce(Between::hull)
}

fn note_tables(kind: Kind, by_table: &[(Table, Between<Millis>)], notes: &mut Notes) {
    if kind == Kind::Gel {
        notes.find(Finding::NoTableForGel);
        return;
    }
    let Some(((_, main), others)) = by_table.split_first() else { return };
    let lower = others.iter().map(|(_, other)| other.least).min();
    if let Some(lower) = lower.filter(|lower| *lower < main.least) {
        notes.find(Finding::TablesDisagree { main: main.least, lower });
    }
}

/// How far a source of current goes for the run.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Grade {
    Short,
    Thin,
    Enough,
}

/// Everything that the verdict looks at.
struct Bench<'a> {
    question: &'a Question,
    state: &'a State<'a>,
    ratings: &'a [Rating],
    draw: Draw,
    alone: &'a [Discharge],
    charge: Between<PerMille>,
}

impl Bench<'_> {
    fn demand(&self) -> &Demand {
        &self.question.demand
    }

    fn verdict(&self, notes: &mut Notes) -> Verdict {
        self.note_ceiling(notes);
        let above = self.note_floor(notes);
        // What the battery alone lacks is only worth telling where it decides.
        let mut lacks = Notes::default();
        let alone = if above { Grade::Short } else { self.grade(self.alone, &mut lacks) };
        let Some(charger) = self.question.charger else {
            notes.findings.append(&mut lacks.findings);
            if alone != Grade::Enough {
                notes.ask(Ask::ConnectCharger);
            }
            return match alone {
                Grade::Enough => Verdict::Go,
                Grade::Thin => Verdict::GoWithCharger,
                Grade::Short => Verdict::DoNotStart,
            };
        };
        if alone == Grade::Enough {
            // The charger can do no good here, but it can lift the voltage above the ceiling.
            let fine = self.demand().ceiling.is_none() || self.readings_fit(charger, notes);
            return if fine { Verdict::Go } else { Verdict::DoNotStart };
        }
        let carried = self.carried(charger, above, notes);
        let fits = self.readings_fit(charger, notes);
        if carried && fits { Verdict::GoWithCharger } else { Verdict::DoNotStart }
    }

    /// Whether something is missing without which nothing may start, whatever the verdict.
    fn blocked(&self, notes: &Notes) -> bool {
        let holding = [Ask::Limit, Ask::RestVoltage, Ask::RestVoltageAgain];
        holding.iter().any(|ask| notes.asks.contains(ask))
            || notes.findings.iter().any(|f| matches!(f, Finding::RestAboveCeiling { .. }))
    }

    fn note_ceiling(&self, notes: &mut Notes) {
        if let Some((read, ceiling)) = self.question.battery.rest.zip(self.demand().ceiling)
            && read > ceiling
        {
            notes.find(Finding::RestAboveCeiling { read, ceiling });
        }
    }

    /// Whether the floor is above what any battery of the kind can hold alone.
    fn note_floor(&self, notes: &mut Notes) -> bool {
        let needs = self.demand().floor.plus(self.draw.sag.most);
        let full = self.question.battery.kind.full();
        let above = needs > full;
        if above {
            notes.find(Finding::FloorAboveBattery { needs, full });
            if self.question.charger.is_none() {
                notes.ask(Ask::ConnectCharger);
                notes.ask(Ask::ChargerReadings);
            }
        }
        above
    }

    /// How far these discharges go, by the least of them. Without a length nothing is short: the
    /// limit is asked for anyway.
    fn grade(&self, discharges: &[Discharge], notes: &mut Notes) -> Grade {
        let Length::AtMost(length) = self.demand().length else { return Grade::Enough };
        let least = discharges.iter().map(|d| formula::reserve(d).least).min().unwrap_or_default();
        let end = discharges.iter().map(|d| formula::charge_after(d, length)).min();
        let (end, keep) = (end.unwrap_or_default(), self.question.settings.keep);
        let wanted = length.times(i64::from(self.question.settings.times_length));
        let mut grade = Grade::Enough;
        if least < length || least == Millis::ZERO {
            notes.find(Finding::TooShort { reserve: least, length });
            grade = Grade::Short;
        } else if least < wanted {
            notes.find(Finding::Thin { reserve: least, wanted });
            grade = Grade::Thin;
        }
        if end < keep {
            notes.find(Finding::EndsTooLow { charge: end, keep });
            grade = Grade::Short;
        }
        grade
    }

    /// Whether charger and battery together last for the run.
    fn carried(&self, charger: Charger, above: bool, notes: &mut Notes) -> bool {
        let settings = &self.question.settings;
        let capacity = self.ratings.iter().map(|(capacity, _)| *capacity).max().unwrap_or_default();
        let needs = self.draw.load.most.plus(acceptance(capacity, settings.acceptance));
        let bulk = self.charge.least < settings.near_full;
        if charger.gives >= needs && !bulk {
            return true;
        }
        if above {
            // Only a charger that holds its own voltage holds such a floor.
            if bulk {
                let (charge, near_full) = (self.charge.least, settings.near_full);
                notes.find(Finding::StillBulk { charge, near_full });
            }
            if charger.gives < needs {
                notes.find(Finding::ChargerTooSmall { gives: charger.gives, needs });
                // A drop alone leaves wide open how much is drawn; a measured current does not.
                if matches!(self.question.load, Some(Load::Drop(_))) {
                    notes.ask(Ask::Load);
                }
            }
            return false;
        }
        let from_battery = self.draw.load.most.minus(charger.gives);
        if from_battery.0 <= 0 {
            // Not discharged; what it has now is what it has at the end.
            if self.charge.least < settings.keep {
                let (charge, keep) = (self.charge.least, settings.keep);
                notes.find(Finding::EndsTooLow { charge, keep });
                return false;
            }
            return true;
        }
        let relieved = self.state.discharges(self.ratings, self.relieved(charger));
        if let Some(reserve) = hull_of(&by_table(&relieved)) {
            notes.find(Finding::ChargerBelowLoad { from_battery, reserve });
        }
        self.grade(&relieved, notes) > Grade::Short
    }

    /// The load as the battery feels it under a charger that gives less than the load.
    fn relieved(&self, charger: Charger) -> Draw {
        let less = |load: Milliamps| load.minus(charger.gives).max(Milliamps(1));
        let load = Between { least: less(self.draw.load.least), most: less(self.draw.load.most) };
        if self.draw.measured {
            return Draw { load, ..self.draw };
        }
        let resistance =
            self.question.battery.resistance.unwrap_or(self.question.settings.resistance);
        let sag = Between {
            least: formula::sag(load.least, resistance),
            most: formula::sag(load.most, resistance),
        };
        Draw { load, sag, measured: false }
    }

    /// Whether two readings with the charger on were taken and fit: floor and margin, ceiling, not
    /// falling. Terminal voltages stand for themselves: temperature does not widen them.
    fn readings_fit(&self, charger: Charger, notes: &mut Notes) -> bool {
        let error = self.question.meter.millivolts();
        let margin = self.question.settings.above_floor.max(error);
        let least = self.demand().floor.plus(margin);
        if let Some(ceiling) = self.demand().ceiling.filter(|ceiling| *ceiling < least) {
            notes.find(Finding::NoReadingFits { least, ceiling });
            return false;
        }
        let Some([first, second]) = charger.readings else {
            notes.ask(Ask::ChargerReadings);
            return false;
        };
        let (low, high) = (first.min(second), first.max(second));
        let falls = first.minus(second);
        let too_high = self.demand().ceiling.filter(|ceiling| high > *ceiling);
        if low < least {
            notes.find(Finding::ChargerReadingLow { read: low, least });
        }
        if falls > error {
            notes.find(Finding::ChargerReadingFalls { by: falls });
        }
        if let Some(ceiling) = too_high {
            notes.find(Finding::ChargerReadingHigh { read: high, ceiling });
        } else if let Some(ceiling) = self.demand().ceiling.filter(|c| high.plus(error) > *c) {
            notes.find(Finding::NearCeiling { read: high, ceiling });
        }
        let fits = low >= least && falls <= error && too_high.is_none();
        if !fits {
            notes.ask(Ask::ChargerReadings);
        }
        fits
    }
}

/// The current that a battery near full takes at the most: a share of its 20-hour capacity.
fn acceptance(capacity: MilliampHours, share: PerMille) -> Milliamps {
    let current = i64::from(capacity.0).saturating_mul(i64::from(share.0)) / 1000;
    Milliamps(i32::try_from(current).unwrap_or(i32::MAX))
}
