//! Reads what is around the program once, lets `cli` do what was asked, gives back its exit code.

use std::env;
use std::io::IsTerminal;
use std::process::ExitCode;

use stepbell::cli::{self, Surroundings};

#[expect(clippy::disallowed_methods, reason = "the one place where the environment is read")]
fn main() -> ExitCode {
    let dumb = env::var_os("TERM").is_some_and(|term| term == "dumb");
    let no_colour = env::var_os("NO_COLOR").is_some_and(|set| !set.is_empty());
    let out_is_terminal = std::io::stdout().is_terminal();
    let around = Surroundings {
        args: env::args_os().collect(),
        state_home: env::var_os("XDG_STATE_HOME"),
        home: env::var_os("HOME"),
        config_home: env::var_os("XDG_CONFIG_HOME"),
        no_colour: no_colour || dumb,
        out_is_terminal,
        terminal: out_is_terminal && std::io::stdin().is_terminal() && !dumb,
        path: env::var_os("PATH"),
        cache_home: env::var_os("XDG_CACHE_HOME"),
        temporary: env::temp_dir(),
        blocks: cfg!(windows) || has_blocks(),
        view: env::var_os("STEPBELL_VIEW"),
        reduced_motion: env::var_os("STEPBELL_REDUCED_MOTION")
            .is_some_and(|set| !set.is_empty() && set != "0"),
        second: Some(cli::guide::second_folder(&env::temp_dir())),
    };
    cli::run(&around).into()
}

/// Whether the locale says UTF-8: the first of the three that is set decides (POSIX.1-2017, 8.2).
#[expect(clippy::disallowed_methods, reason = "read once, for main")]
fn has_blocks() -> bool {
    let set = ["LC_ALL", "LC_CTYPE", "LANG"]
        .into_iter()
        .find_map(|name| env::var(name).ok().filter(|value| !value.is_empty()));
    let set = set.unwrap_or_default().to_ascii_lowercase();
    set.contains("utf-8") || set.contains("utf8")
}
