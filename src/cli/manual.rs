//! Shell completions and the man page, from the same definitions as the commands.

use std::io::{self, Write};

use clap::{Args, Command, CommandFactory as _};

use super::{Arguments, Exit, Stop};

/// Print a completion script for a shell.
///
/// Example: emberline completions bash > /etc/bash_completion.d/emberline
#[derive(Debug, Args)]
pub(super) struct CompletionsArgs {
    /// The shell.
    shell: clap_complete::Shell,
}

/// Print the man page.
///
/// Example: emberline manual | man -l -
#[derive(Debug, Args)]
pub(super) struct ManualArgs {}

pub(super) fn completions(args: &CompletionsArgs) -> Result<Exit, Stop> {
    let mut script = Vec::new();
    clap_complete::generate(
        args.shell,
        &mut Arguments::command(),
        "emberline",
        &mut script,
    );
    io::stdout().lock().write_all(&script)?;
    Ok(Exit::Done)
}

pub(super) fn manual(_: &ManualArgs) -> Result<Exit, Stop> {
    let mut out = io::stdout().lock();
    let arguments = Arguments::command();
    clap_mangen::Man::new(arguments.clone()).render(&mut out)?;
    for command in arguments.get_subcommands() {
        section(command, "EMBERLINE", &mut out)?;
    }
    Ok(Exit::Done)
}

/// The section of a command, and those of its own commands behind it.
fn section(command: &Command, under: &str, out: &mut dyn Write) -> io::Result<()> {
    let heading = format!("{under} {}", command.get_name().to_uppercase());
    let page = clap_mangen::Man::new(command.clone());
    writeln!(out, ".SH {heading}")?;
    page.render_synopsis_section(out)?;
    page.render_description_section(out)?;
    page.render_options_section(out)?;
    let mut own = command.get_subcommands();
    own.try_for_each(|command| section(command, &heading, out))
}
