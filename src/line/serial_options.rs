//! How the user wants a serial port to be used, as it is written behind the port's name.

use core::fmt;

/// When request-to-send is on, which keys a modem's carrier [LI-06].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RtsUse {
    /// While we send, and only then.
    #[default]
    Transmit,
    /// All the time: for adapters that take power from it and key themselves.
    On,
    /// Never: for modems that key themselves.
    Off,
}

/// What is done about octets of ours that come back [LI-08].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum EchoUse {
    /// Whether the modem echoes is found out: a transmission that comes back whole is dropped.
    #[default]
    Auto,
    /// The modem echoes: everything is handed on, and the line's capabilities say so.
    On,
    /// The modem does not echo: everything is handed on.
    Off,
}

/// How a serial port is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SerialOptions {
    /// Request-to-send.
    pub rts: RtsUse,
    /// Data-terminal-ready, on unless told: it may feed the modem.
    pub dtr: bool,
    /// Our own octets.
    pub echo: EchoUse,
}

impl Default for SerialOptions {
    fn default() -> Self {
        SerialOptions { rts: RtsUse::default(), dtr: true, echo: EchoUse::default() }
    }
}

impl fmt::Display for SerialOptions {
    /// As it is written behind a line's name: `rts=tx&dtr=on&echo=auto`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rts = match self.rts {
            RtsUse::Transmit => "tx",
            RtsUse::On => "on",
            RtsUse::Off => "off",
        };
        let echo = match self.echo {
            EchoUse::Auto => "auto",
            EchoUse::On => "on",
            EchoUse::Off => "off",
        };
        write!(f, "rts={rts}&dtr={}&echo={echo}", if self.dtr { "on" } else { "off" })
    }
}

/// What may stand behind the name of a serial port, for messages.
const FORMS: &str = "there are pace=wire|fast|FACTOR, rts=tx|on|off, dtr=on|off and echo=auto|on|off";

impl SerialOptions {
    /// Splits a serial port's options off its name: `/dev/ttyUSB0?rts=on&dtr=off` is a path, these
    /// options, and no pace. `pace=` is handed back as it stands; where it is given twice the last counts.
    ///
    /// # Errors
    /// Says what is wrong and what would be right.
    pub fn split(text: &str) -> Result<(&str, SerialOptions, Option<&str>), String> {
        let (path, words) = text.split_once('?').unwrap_or((text, ""));
        let (mut options, mut pace) = (SerialOptions::default(), None);
        for word in words.split('&').filter(|w| !w.is_empty()) {
            match word.split_once('=') {
                Some(("pace", value)) => pace = Some(value),
                Some((name, value)) => options.set(name, value)?,
                None => return Err(format!("\"{word}\" is no option of a serial port: {FORMS}")),
            }
        }
        Ok((path, options, pace))
    }

    fn set(&mut self, name: &str, value: &str) -> Result<(), String> {
        match (name, value) {
            ("rts", "tx") => self.rts = RtsUse::Transmit,
            ("rts", "on") => self.rts = RtsUse::On,
            ("rts", "off") => self.rts = RtsUse::Off,
            ("dtr", "on" | "off") => self.dtr = value == "on",
            ("echo", "auto") => self.echo = EchoUse::Auto,
            ("echo", "on") => self.echo = EchoUse::On,
            ("echo", "off") => self.echo = EchoUse::Off,
            ("rts" | "dtr" | "echo", _) => return Err(format!("\"{name}={value}\" cannot be: {FORMS}")),
            _ => return Err(format!("\"{name}={value}\" is no option of a serial port: {FORMS}")),
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_option_is_read_as_it_is_shown() {
        for rts in [RtsUse::Transmit, RtsUse::On, RtsUse::Off] {
            for echo in [EchoUse::Auto, EchoUse::On, EchoUse::Off] {
                for dtr in [true, false] {
                    let options = SerialOptions { rts, dtr, echo };
                    let text = format!("/dev/ttyUSB0?{options}");
                    assert_eq!(SerialOptions::split(&text), Ok(("/dev/ttyUSB0", options, None)), "{text}");
                }
            }
        }
        let plain = SerialOptions::default();
        assert_eq!(SerialOptions::split("COM3"), Ok(("COM3", plain, None)));
        assert_eq!(SerialOptions::split("x?pace=4&dtr=on"), Ok(("x", plain, Some("4"))));
        assert_eq!(plain.to_string(), "rts=tx&dtr=on&echo=auto");
    }

    #[test]
    fn what_is_no_option_says_what_there_is() {
        for (text, wrong) in [
            ("x?rts=yes", "\"rts=yes\" cannot be"),
            ("x?dtr", "\"dtr\" is no option"),
            ("x?dtr=", "\"dtr=\" cannot be"),
            ("x?echo=1", "\"echo=1\" cannot be"),
            ("x?speed=9", "\"speed=9\" is no option"),
            ("x?RTS=on", "\"RTS=on\" is no option"),
        ] {
            let said = SerialOptions::split(text).unwrap_err();
            assert!(said.starts_with(wrong) && said.contains("rts=tx|on|off"), "{text}: {said}");
        }
    }
}
