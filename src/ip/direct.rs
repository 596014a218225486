//! Commands for the device at the server itself, without a frame around them [IP-09].

use bytes::{BufMut, Bytes, BytesMut};

/// Octets before the first command.
const HEAD: usize = 2;
/// Octets before the data of a command.
const COMMAND_HEAD: usize = 3;

/// One command of a [`DirectPdu`].
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct DirectCommand {
    /// Its number, 0 to 65535.
    pub number: u16,
    data: Bytes,
}

impl DirectCommand {
    /// A command with its data; in a response the first octet is its response code.
    ///
    /// # Errors
    /// More than 255 octets: they are given back.
    pub fn new(number: u16, data: impl Into<Bytes>) -> Result<DirectCommand, Bytes> {
        let data = data.into();
        if data.len() > usize::from(u8::MAX) { Err(data) } else { Ok(DirectCommand { number, data }) }
    }

    /// What its byte count covers.
    pub fn data(&self) -> &Bytes {
        &self.data
    }

    /// The response code and what follows it; `None` where there is none.
    pub fn response(&self) -> Option<(u8, Bytes)> {
        let code = *self.data.first()?;
        Some((code, self.data.slice(1..)))
    }
}

/// The body of a direct PDU, request or response.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct DirectPdu {
    /// Field device status [ST-02].
    pub device_status: u8,
    /// Extended device status.
    pub extended_status: u8,
    /// The commands in order.
    pub commands: Vec<DirectCommand>,
    /// Octets at the end that are no whole command; empty unless the PDU is cut short.
    pub rest: Bytes,
}

impl DirectPdu {
    /// Reads a body. What does not fit stands in [`DirectPdu::rest`]; `None` of fewer than two octets.
    pub fn decode(body: &Bytes) -> Option<DirectPdu> {
        let &[device_status, extended_status] = body.first_chunk::<HEAD>()?;
        let mut commands = Vec::new();
        let mut rest = body.slice(HEAD..);
        while let Some(&[high, low, count]) = rest.first_chunk::<COMMAND_HEAD>() {
            let end = COMMAND_HEAD + usize::from(count);
            if rest.len() < end {
                break;
            }
            commands.push(DirectCommand {
                number: u16::from_be_bytes([high, low]),
                data: rest.slice(COMMAND_HEAD..end),
            });
            rest = rest.slice(end..);
        }
        Some(DirectPdu { device_status, extended_status, commands, rest })
    }

    /// The octets of the body.
    pub fn encode(&self) -> Bytes {
        let mut out = BytesMut::new();
        out.put_slice(&[self.device_status, self.extended_status]);
        for command in &self.commands {
            out.put_u16(command.number);
            out.put_u8(command.data.len() as u8);
            out.put_slice(&command.data);
        }
        out.put_slice(&self.rest);
        out.freeze()
    }
}
