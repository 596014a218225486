//! The API of a mock: where it listens, and with which token [BA-08].

use super::mock_args::MockArgs;
use super::output::Failure;
use crate::bench::api::{Place, Token, why_not_listen};
use crate::bench::{BenchPlan, LineKind};
use core::fmt::Write;
use std::fs;
use std::io::{self, Read};
use std::net::SocketAddr;
use std::path::Path;

/// What tells the token besides `--api-token-file`.
const TOKEN_VARIABLE: &str = "LOOPRIG_API_TOKEN";
/// Longest token file that is read, octets.
const LONGEST_FILE: u64 = 4096;
const DOING: &str = "opening the API of the bench";

/// Takes the place of the API, if there is to be one: the command line goes before the bench file.
pub fn place(args: &MockArgs, plan: &BenchPlan) -> Result<Option<Place>, Failure> {
    let Some(at) = args.api.or(plan.api) else {
        return match &args.api_token_file {
            None => Ok(None),
            Some(_) => Err(Failure::new(
                DOING,
                "there is a token, but no place for the API",
                "give --api, or [api] at = \"127.0.0.1:4620\" in the bench file, or leave the token out",
            )),
        };
    };
    let token = token(args.api_token_file.as_deref())?;
    if let Some((wrong, next)) = why_not_listen(at, token.is_some()) {
        return Err(Failure::new(DOING, wrong, next));
    }
    Place::take(at, token).map(Some).map_err(|e| failed(at, &e))
}

/// An API that cannot be.
pub fn failed(at: SocketAddr, e: &io::Error) -> Failure {
    let next = "name another address of this machine, or another port; port 0 is any that is free";
    Failure::new(DOING, format!("{at}: {e}"), next)
}

fn token(file: Option<&Path>) -> Result<Option<Token>, Failure> {
    let (name, text) = match file {
        Some(path) => {
            let mut text = String::new();
            let read = fs::File::open(path).and_then(|f| f.take(LONGEST_FILE).read_to_string(&mut text));
            read.map_err(|e| {
                let next = "name a file with the token that you may read and others may not";
                Failure::new("reading the API's token", format!("{}: {e}", path.display()), next)
            })?;
            (path.display().to_string(), text)
        }
        None => match std::env::var(TOKEN_VARIABLE) {
            Ok(text) => (TOKEN_VARIABLE.to_owned(), text),
            Err(std::env::VarError::NotPresent) => return Ok(None),
            Err(e) => (TOKEN_VARIABLE.to_owned(), e.to_string()),
        },
    };
    Token::new(&text).map(Some).map_err(|wrong| {
        let next = "make one, such as by: head -c 24 /dev/urandom | base64";
        Failure::new("reading the API's token", format!("{name}: {wrong}"), next)
    })
}

/// The address as a browser or curl takes it.
pub fn url(at: SocketAddr) -> String {
    format!("http://{at}")
}

/// Where the API is, for people.
pub fn text(place: &Place, plan: &BenchPlan, out: &mut String) {
    let url = url(place.at());
    let with = if place.has_token() { " -H \"Authorization: Bearer TOKEN\"" } else { "" };
    let _ = writeln!(out, "\nAPI at {url}   try it with: curl{with} {url}/quantities");
    if !place.at().ip().is_loopback() {
        let _ = writeln!(
            out,
            "  warning: other machines reach it; what they send, the token too, is not encrypted"
        );
    }
    let is_real = |k: &LineKind| matches!(k, LineKind::Serial(..) | LineKind::Tcp(_));
    if plan.lines.iter().any(|l| is_real(&l.kind)) {
        out.push_str(
            "  warning: this bench has a line to real wires; whoever uses the API changes what is said there\n",
        );
    }
}
