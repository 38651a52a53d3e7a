//! Dropping files on a window as a file manager does.
//!
//! Source of the messages: Drag-and-Drop Protocol for the X Window System (XDND), version 5,
//! freedesktop.org.

use std::path::Path;

use x11rb::connection::Connection as _;
use x11rb::protocol::Event;
use x11rb::protocol::xproto::{
    ClientMessageEvent, ConnectionExt as _, CreateWindowAux, EventMask, PropMode,
    SELECTION_NOTIFY_EVENT, SelectionNotifyEvent, SelectionRequestEvent, Window, WindowClass,
};
use x11rb::rust_connection::RustConnection;
use x11rb::wrapper::ConnectionExt as _;

use crate::screen::Screen;

/// Version of the protocol spoken here.
const VERSION: u32 = 5;

/// Carries files over a window and lets them go at a place of the screen; tells whether the
/// window said that it took them.
pub fn drop_files(screen: &Screen, window: Window, (x, y): (u16, u16), files: &[&Path]) -> bool {
    let (connection, number) = x11rb::connect(Some(&screen.display)).unwrap();
    let root = connection.setup().roots[number].root;
    let source = connection.generate_id().unwrap();
    connection
        .create_window(
            0,
            source,
            root,
            -10,
            -10,
            1,
            1,
            0,
            WindowClass::COPY_FROM_PARENT,
            0,
            &CreateWindowAux::new(),
        )
        .unwrap();
    let list = screen.atom("text/uri-list");
    connection
        .set_selection_owner(source, screen.atom("XdndSelection"), x11rb::CURRENT_TIME)
        .unwrap();
    let send = |name: &str, rest: [u32; 4]| {
        let data = [source, rest[0], rest[1], rest[2], rest[3]];
        let message = ClientMessageEvent::new(32, window, screen.atom(name), data);
        connection
            .send_event(false, window, EventMask::NO_EVENT, message)
            .unwrap();
        connection.flush().unwrap();
    };
    let words: String = files
        .iter()
        .map(|file| format!("file://{}\r\n", escaped(file)))
        .collect();
    send("XdndEnter", [VERSION << 24, list, 0, 0]);
    let place = u32::from(x) << 16 | u32::from(y);
    let copy = screen.atom("XdndActionCopy");
    send("XdndPosition", [0, place, x11rb::CURRENT_TIME, copy]);
    // Bit 0 of the answer: it would take them.
    if answered(&connection, screen.atom("XdndStatus"), &words) & 1 == 0 {
        return false;
    }
    send("XdndDrop", [0, x11rb::CURRENT_TIME, 0, 0]);
    answered(&connection, screen.atom("XdndFinished"), &words) & 1 == 1
}

/// Hands the list out whenever it is asked for, until a message of this kind comes; gives its
/// flags.
fn answered(connection: &RustConnection, kind: u32, words: &str) -> u32 {
    loop {
        match connection.wait_for_event().unwrap() {
            Event::SelectionRequest(request) => hand_out(connection, &request, words),
            Event::ClientMessage(message) if message.type_ == kind => {
                return message.data.as_data32()[1];
            }
            _ => {}
        }
    }
}

fn hand_out(connection: &RustConnection, request: &SelectionRequestEvent, words: &str) {
    connection
        .change_property8(
            PropMode::REPLACE,
            request.requestor,
            request.property,
            request.target,
            words.as_bytes(),
        )
        .unwrap();
    let done = SelectionNotifyEvent {
        response_type: SELECTION_NOTIFY_EVENT,
        sequence: 0,
        time: request.time,
        requestor: request.requestor,
        selection: request.selection,
        target: request.target,
        property: request.property,
    };
    connection
        .send_event(false, request.requestor, EventMask::NO_EVENT, done)
        .unwrap();
    connection.flush().unwrap();
}

/// A path as RFC 3986 has it in an address: all but unreserved signs and the slash as bytes.
fn escaped(file: &Path) -> String {
    let sign = |byte: &u8| match byte {
        b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
            char::from(*byte).to_string()
        }
        byte => format!("%{byte:02X}"),
    };
    file.to_str().unwrap().as_bytes().iter().map(sign).collect()
}
