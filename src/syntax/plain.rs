//! Every rule of the grammar in plain words, so that no complaint ever shows a rule's own name.
//!
//! Takes a [`Rule`]; gives the words of the language that it begins with, or a phrase about it. The
//! match is exhaustive: a new rule without words does not compile.

use super::grammar::Rule;

/// How a rule is named to a person.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Plain {
    /// A phrase, shown as it is.
    Phrase(&'static str),
    /// Words of the language, to be shown as such.
    Word(&'static str),
    /// One word or unit, a rule of its own.
    Token(&'static str),
}

use Plain::{Phrase, Token, Word};

/// The words that a sentence may begin with.
pub(super) const FIRST_WORDS: &[&str] = &[
    "about",
    "according",
    "affirm",
    "allow",
    "anything",
    "ask",
    "assumed",
    "at",
    "battery",
    "begin",
    "better",
    "between",
    "by",
    "caution",
    "count",
    "danger",
    "device",
    "do",
    "edition",
    "end",
    "ending",
    "feel",
    "finish",
    "for",
    "has",
    "have",
    "hear",
    "helper",
    "hold",
    "if",
    "keep",
    "late",
    "let",
    "look",
    "needs",
    "never",
    "no",
    "not",
    "note",
    "nothing",
    "notice",
    "one",
    "only",
    "operator",
    "or",
    "part",
    "phase",
    "place",
    "prepare",
    "procedure",
    "put",
    "reacts",
    "read",
    "recount",
    "repeat",
    "reports",
    "round",
    "say",
    "secret",
    "see",
    "sign",
    "slip",
    "speech",
    "start",
    "status",
    "step",
    "straight",
    "table",
    "take",
    "takes",
    "test",
    "tests",
    "use",
    "vehicle",
    "walks",
    "warning",
    "with",
    "within",
];

/// Words of the language that cannot be names.
pub(super) const RESERVED: &[&str] = &[
    "after", "and", "answered", "as", "at", "awake", "away", "begun", "called", "done", "from",
    "heard", "is", "of", "once", "or", "over", "previous", "released", "reported", "text", "twice",
    "until", "with",
];

/// The rule in plain words.
pub(super) fn plain(rule: Rule) -> Plain {
    match rule {
        Rule::line
        | Rule::sentence
        | Rule::heading
        | Rule::stock
        | Rule::stretch
        | Rule::block
        | Rule::flow
        | Rule::doing
        | Rule::count_tail
        | Rule::window
        | Rule::first_only
        | Rule::outcome
        | Rule::from_h
        | Rule::from_min
        | Rule::from_s
        | Rule::quote
        | Rule::reserved
        | Rule::wc
        | Rule::WHITESPACE => Phrase("a sentence"),
        Rule::procedure => Word("procedure"),
        Rule::subject => Phrase("`vehicle` or `device`"),
        Rule::edition => Word("edition"),
        Rule::status => Word("status"),
        Rule::basis | Rule::accord | Rule::accord_tail => Phrase("`according to` or `assumed`"),
        Rule::use_file => Word("use"),
        Rule::alert => Phrase("a signal word"),
        Rule::affirm => Word("affirm"),
        Rule::ending | Rule::count_ending => Word("ending"),
        Rule::class => Phrase("`learned`, `not learned`, `unsure` or `stopped`"),
        Rule::hand_over => Word("hand over to"),
        Rule::have => Word("have"),
        Rule::group => Phrase("a group like `1 to 4 spares`"),
        Rule::role => Phrase("`registered`, `new` or `tool`"),
        Rule::felt => Word("felt as"),
        Rule::place => Word("place"),
        Rule::far => Phrase("the way from another place"),
        Rule::round => Word("round"),
        Rule::sign => Word("sign"),
        Rule::sense => Phrase("`see`, `hear`, `feel` or `read`"),
        Rule::pattern => Phrase("a count like `once` or a state like `steady`"),
        Rule::sign_lasts | Rule::say_lasts | Rule::count_lasts => Word("lasting"),
        Rule::sign_quiet => Word("quiet"),
        Rule::secret => Word("secret"),
        Rule::ask => Word("ask"),
        Rule::plausible => Word("between"),
        Rule::choice => Phrase("answers with `or` between"),
        Rule::start => Word("start"),
        Rule::better => Word("better if"),
        Rule::battery => Word("battery"),
        Rule::ceiling => Word("at most"),
        Rule::condition => Phrase("a condition"),
        Rule::at_bound | Rule::in_range | Rule::same_as => {
            Phrase("`at least`, `at most`, `between`, `the same as` or an answer")
        }
        Rule::value => Phrase("the name of a reading"),
        Rule::keep => Word("keep"),
        Rule::keep_away => Word("away"),
        Rule::keep_awake => Word("awake every"),
        Rule::keep_guard => Phrase("a name for what must stay true"),
        Rule::watched => Word("watched from"),
        Rule::never => Word("never"),
        Rule::allow => Word("allow"),
        Rule::break_off => Word("if broken off"),
        Rule::operator => Phrase("`operator` or `helper`"),
        Rule::part => Word("part"),
        Rule::phase => Word("phase"),
        Rule::each => Word("for each"),
        Rule::repeat => Word("repeat"),
        Rule::only => Word("only"),
        Rule::table => Word("table"),
        Rule::tests => Word("tests"),
        Rule::end => Word("end"),
        Rule::step => Word("step"),
        Rule::do_part => Word("do"),
        Rule::finish => Word("finish as"),
        Rule::no => Word("no"),
        Rule::no_return => Word("way back"),
        Rule::safe => Word("safe to start over"),
        Rule::test => Word("test"),
        Rule::recount => Word("recount"),
        Rule::per_item => Word("for each of"),
        Rule::prepare => Word("prepare"),
        Rule::say => Word("say"),
        Rule::takes | Rule::way_takes | Rule::another_takes => Word("takes"),
        Rule::straight => Word("straight on"),
        Rule::with => Word("with"),
        Rule::with_at | Rule::at => Word("at"),
        Rule::by => Word("by"),
        Rule::take => Word("take"),
        Rule::put => Word("put down"),
        Rule::needs => Word("needs"),
        Rule::hold | Rule::another_hold => Word("hold"),
        Rule::held => Phrase("`on`, `until` or a length of time like 2s to 6s"),
        Rule::length
        | Rule::length_about
        | Rule::length_at_least
        | Rule::length_up_to
        | Rule::length_plain => Phrase("a length of time like 2s to 6s"),
        Rule::longer => Word("then"),
        Rule::let_go => Word("let go"),
        Rule::count => Word("count"),
        Rule::count_within => Word("within"),
        Rule::count_each => Word("each within"),
        Rule::count_every => Word("one every"),
        Rule::one_way => Word("one way"),
        Rule::reacts => Word("reacts in"),
        Rule::reports => Word("reports in"),
        Rule::speech => Word("speech"),
        Rule::walks => Word("walks a pace in"),
        Rule::has => Word("has"),
        Rule::plain_window
        | Rule::another_moment
        | Rule::moment
        | Rule::bound
        | Rule::bound_within
        | Rule::bound_between
        | Rule::bound_not_before
        | Rule::bound_about
        | Rule::arrival => Phrase("`within`, `between`, `not before` or `about`"),
        Rule::begin => Word("begin"),
        Rule::another => Word("or"),
        Rule::leeway => Word("give or take"),
        Rule::anchor => Phrase("`after` and a moment"),
        Rule::event_of => Phrase("a moment like `wake done`"),
        Rule::event => Phrase(
            "a moment (`called`, `heard`, `begun`, `done`, `released`, `answered`, `reported`, `over`)",
        ),
        Rule::turns => Phrase("`first turn only`, `later turns only` or the like"),
        Rule::sensed | Rule::sight => Phrase("a sign that is seen, heard, felt or read"),
        Rule::look_up => Word("look up"),
        Rule::silence => Word("nothing"),
        Rule::anything => Word("anything else"),
        Rule::late => Word("late"),
        Rule::slip => Word("slip"),
        Rule::so | Rule::result | Rule::verdict => {
            Phrase("`go on`, `go to`, `go back to`, `finish as` or `this one is`")
        }
        Rule::go => Phrase("`on`, `to` or `back to`"),
        Rule::go_on => Word("on"),
        Rule::go_to => Word("to"),
        Rule::go_back => Word("back to"),
        Rule::way => Word("by way of"),
        Rule::cool_down => Word("after"),
        Rule::tries => Phrase("`at most` or `while`"),
        Rule::otherwise | Rule::else_go => Phrase("`go on`, `go to`, `finish as` or `this one is`"),
        Rule::item_class => Phrase("`learned`, `not learned` or `unsure`"),
        Rule::remark => Word("note"),
        Rule::rest => Phrase("the remark"),
        Rule::to_duration | Rule::duration => Phrase("a length of time like 30s"),
        Rule::fraction => Phrase("decimals"),
        Rule::times => Phrase("`once`, `twice` or a number and `times`"),
        Rule::quantity => Phrase("a number and its unit"),
        Rule::unit => Phrase("a unit"),
        Rule::decimal => Phrase("a number"),
        Rule::number => Phrase("a whole number"),
        Rule::date => Phrase("a date like 2026-05-31"),
        Rule::comma => Phrase("a comma"),
        Rule::string | Rule::inner => Phrase("a text between quotes"),
        Rule::names | Rule::name => Phrase("a name"),
        Rule::EOI => Phrase("nothing more"),
        Rule::kw_a => Token("a"),
        Rule::kw_about => Token("about"),
        Rule::kw_according => Token("according"),
        Rule::kw_affirm => Token("affirm"),
        Rule::kw_after => Token("after"),
        Rule::kw_allow => Token("allow"),
        Rule::kw_and => Token("and"),
        Rule::kw_answer => Token("answer"),
        Rule::kw_answered => Token("answered"),
        Rule::kw_anything => Token("anything"),
        Rule::kw_as => Token("as"),
        Rule::kw_ask => Token("ask"),
        Rule::kw_assumed => Token("assumed"),
        Rule::kw_at => Token("at"),
        Rule::kw_awake => Token("awake"),
        Rule::kw_away => Token("away"),
        Rule::kw_back => Token("back"),
        Rule::kw_before => Token("before"),
        Rule::kw_begin => Token("begin"),
        Rule::kw_begun => Token("begun"),
        Rule::kw_battery => Token("battery"),
        Rule::kw_better => Token("better"),
        Rule::kw_between => Token("between"),
        Rule::kw_both => Token("both"),
        Rule::kw_broken => Token("broken"),
        Rule::kw_by => Token("by"),
        Rule::kw_called => Token("called"),
        Rule::kw_caution => Token("caution"),
        Rule::kw_common => Token("common"),
        Rule::kw_count => Token("count"),
        Rule::kw_danger => Token("danger"),
        Rule::kw_demonstration => Token("demonstration"),
        Rule::kw_device => Token("device"),
        Rule::kw_do => Token("do"),
        Rule::kw_done => Token("done"),
        Rule::kw_down => Token("down"),
        Rule::kw_each => Token("each"),
        Rule::kw_earlier => Token("earlier"),
        Rule::kw_edition => Token("edition"),
        Rule::kw_else => Token("else"),
        Rule::kw_end => Token("end"),
        Rule::kw_ending => Token("ending"),
        Rule::kw_every => Token("every"),
        Rule::kw_expect => Token("expect"),
        Rule::kw_feel => Token("feel"),
        Rule::kw_felt => Token("felt"),
        Rule::kw_finish => Token("finish"),
        Rule::kw_first => Token("first"),
        Rule::kw_for => Token("for"),
        Rule::kw_from => Token("from"),
        Rule::kw_give => Token("give"),
        Rule::kw_go => Token("go"),
        Rule::kw_hand => Token("hand"),
        Rule::kw_handbook => Token("handbook"),
        Rule::kw_hands => Token("hands"),
        Rule::kw_has => Token("has"),
        Rule::kw_have => Token("have"),
        Rule::kw_hear => Token("hear"),
        Rule::kw_heard => Token("heard"),
        Rule::kw_helper => Token("helper"),
        Rule::kw_hold => Token("hold"),
        Rule::kw_if => Token("if"),
        Rule::kw_in => Token("in"),
        Rule::kw_is => Token("is"),
        Rule::kw_keep => Token("keep"),
        Rule::kw_last => Token("last"),
        Rule::kw_lasting => Token("lasting"),
        Rule::kw_lasts => Token("lasts"),
        Rule::kw_late => Token("late"),
        Rule::kw_later => Token("later"),
        Rule::kw_learned => Token("learned"),
        Rule::kw_least => Token("least"),
        Rule::kw_let => Token("let"),
        Rule::kw_look => Token("look"),
        Rule::kw_lost => Token("lost"),
        Rule::kw_minute => Token("minute"),
        Rule::kw_more => Token("more"),
        Rule::kw_most => Token("most"),
        Rule::kw_needs => Token("needs"),
        Rule::kw_never => Token("never"),
        Rule::kw_new => Token("new"),
        Rule::kw_no => Token("no"),
        Rule::kw_not => Token("not"),
        Rule::kw_note => Token("note"),
        Rule::kw_nothing => Token("nothing"),
        Rule::kw_notice => Token("notice"),
        Rule::kw_of => Token("of"),
        Rule::kw_off => Token("off"),
        Rule::kw_on => Token("on"),
        Rule::kw_once => Token("once"),
        Rule::kw_one => Token("one"),
        Rule::kw_only => Token("only"),
        Rule::kw_operator => Token("operator"),
        Rule::kw_or => Token("or"),
        Rule::kw_over => Token("over"),
        Rule::kw_ownership => Token("ownership"),
        Rule::kw_pace => Token("pace"),
        Rule::kw_paces => Token("paces"),
        Rule::kw_part => Token("part"),
        Rule::kw_phase => Token("phase"),
        Rule::kw_place => Token("place"),
        Rule::kw_practice => Token("practice"),
        Rule::kw_prepare => Token("prepare"),
        Rule::kw_previous => Token("previous"),
        Rule::kw_procedure => Token("procedure"),
        Rule::kw_put => Token("put"),
        Rule::kw_quiet => Token("quiet"),
        Rule::kw_reacts => Token("reacts"),
        Rule::kw_read => Token("read"),
        Rule::kw_recount => Token("recount"),
        Rule::kw_registered => Token("registered"),
        Rule::kw_released => Token("released"),
        Rule::kw_repeat => Token("repeat"),
        Rule::kw_report => Token("report"),
        Rule::kw_reported => Token("reported"),
        Rule::kw_reports => Token("reports"),
        Rule::kw_round => Token("round"),
        Rule::kw_safe => Token("safe"),
        Rule::kw_same => Token("same"),
        Rule::kw_say => Token("say"),
        Rule::kw_secret => Token("secret"),
        Rule::kw_see => Token("see"),
        Rule::kw_sign => Token("sign"),
        Rule::kw_slip => Token("slip"),
        Rule::kw_so => Token("so"),
        Rule::kw_speech => Token("speech"),
        Rule::kw_start => Token("start"),
        Rule::kw_status => Token("status"),
        Rule::kw_step => Token("step"),
        Rule::kw_stopped => Token("stopped"),
        Rule::kw_straight => Token("straight"),
        Rule::kw_table => Token("table"),
        Rule::kw_take => Token("take"),
        Rule::kw_takes => Token("takes"),
        Rule::kw_test => Token("test"),
        Rule::kw_tests => Token("tests"),
        Rule::kw_text => Token("text"),
        Rule::kw_the => Token("the"),
        Rule::kw_then => Token("then"),
        Rule::kw_this => Token("this"),
        Rule::kw_times => Token("times"),
        Rule::kw_to => Token("to"),
        Rule::kw_tool => Token("tool"),
        Rule::kw_tried => Token("tried"),
        Rule::kw_try => Token("try"),
        Rule::kw_turn => Token("turn"),
        Rule::kw_turns => Token("turns"),
        Rule::kw_twice => Token("twice"),
        Rule::kw_unsure => Token("unsure"),
        Rule::kw_until => Token("until"),
        Rule::kw_up => Token("up"),
        Rule::kw_use => Token("use"),
        Rule::kw_vehicle => Token("vehicle"),
        Rule::kw_walks => Token("walks"),
        Rule::kw_warning => Token("warning"),
        Rule::kw_watch => Token("watch"),
        Rule::kw_watched => Token("watched"),
        Rule::kw_way => Token("way"),
        Rule::kw_while => Token("while"),
        Rule::kw_with => Token("with"),
        Rule::kw_within => Token("within"),
        Rule::kw_words => Token("words"),
        Rule::unit_h => Token("h"),
        Rule::unit_min => Token("min"),
        Rule::unit_s => Token("s"),
        Rule::unit_ms => Token("ms"),
        Rule::unit_ah => Token("Ah"),
        Rule::unit_a => Token("A"),
        Rule::unit_v => Token("V"),
        Rule::unit_mhz => Token("MHz"),
        Rule::unit_khz => Token("kHz"),
        Rule::unit_celsius => Token("°C"),
        Rule::unit_kpa => Token("kPa"),
        Rule::unit_kmh => Token("km/h"),
        Rule::unit_percent => Token("%"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::syntax::grammar::{self, Failure};

    fn words() -> Vec<&'static str> {
        Rule::all_rules()
            .iter()
            .filter_map(|rule| match plain(*rule) {
                Token(word) => Some(word),
                Phrase(_) | Word(_) => None,
            })
            .collect()
    }

    #[test]
    fn first_words_are_the_words_that_begin_a_sentence() {
        for word in words() {
            let begins = !matches!(grammar::line(word), Err(Failure::At { byte: 0, .. }));
            assert_eq!(FIRST_WORDS.contains(&word), begins, "{word}");
        }
    }

    #[test]
    fn reserved_words_are_the_words_that_name_nothing() {
        let small = |word: &&str| word.bytes().all(|b| b.is_ascii_lowercase());
        for word in words().into_iter().filter(small) {
            let names = grammar::line(&format!("phase {word}")).is_ok();
            assert_eq!(RESERVED.contains(&word), !names, "{word}");
        }
    }
}
