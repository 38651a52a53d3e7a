//! How much room there is, and which columns are out.

use egui::Context;

/// Points from which everything lies side by side: a laptop of 1280 at 100 %.
const WIDE: f32 = 1120.0;
/// Points from which the answer's column leaves the bench room enough: such a laptop at 150 %.
const MIDDLE: f32 = 820.0;

/// Room in the window, by its width.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Room {
    /// Columns are folded; controls are icons.
    Narrow,
    /// The strips' column is folded.
    Middle,
    /// All side by side.
    Wide,
}

impl Room {
    /// The room of a width in points.
    pub fn of(width: f32) -> Self {
        if width >= WIDE {
            Self::Wide
        } else if width >= MIDDLE {
            Self::Middle
        } else {
            Self::Narrow
        }
    }

    /// The room that the window has now.
    pub fn now(ctx: &Context) -> Self {
        Self::of(ctx.viewport_rect().width())
    }

    /// Free space at the edges of bars and columns, points.
    pub fn margin(self) -> i8 {
        match self {
            Self::Narrow => 8,
            Self::Middle | Self::Wide => 16,
        }
    }

    /// Free space above and below the controls of a bar, points.
    pub fn bar(self) -> i8 {
        match self {
            Self::Narrow => 4,
            Self::Middle | Self::Wide => 8,
        }
    }
}

/// A column beside the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// The answer, at the left.
    Answer,
    /// The strips beside the scan, at the right.
    Strips,
}

/// Which columns are out: by the room there is, unless the person says otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Columns {
    /// What was said of the answer and of the strips, and in which room.
    said: Option<(Room, bool, bool)>,
}

impl Columns {
    /// Whether the answer's column is out, and the strips'.
    pub fn out(self, room: Room) -> (bool, bool) {
        match self.said {
            Some((then, answer, strips)) if then == room => (answer, strips),
            // Another room, another choice.
            _ => (room >= Room::Middle, room == Room::Wide),
        }
    }

    /// Takes a column out or puts it in. Where room is short one makes way for the other.
    pub fn toggle(&mut self, column: Column, ctx: &Context) {
        let room = Room::now(ctx);
        let (mut answer, mut strips) = self.out(room);
        match column {
            Column::Answer => {
                answer = !answer;
                strips = strips && !(answer && room == Room::Narrow);
            }
            Column::Strips => {
                strips = !strips;
                answer = answer && !(strips && room == Room::Narrow);
            }
        }
        self.said = Some((room, answer, strips));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_fold_where_room_is_short_and_the_person_may_say_otherwise() {
        let mut columns = Columns::default();
        assert_eq!(columns.out(Room::of(1280.0)), (true, true));
        assert_eq!(columns.out(Room::of(853.0)), (true, false));
        assert_eq!(columns.out(Room::of(640.0)), (false, false));
        columns.said = Some((Room::Wide, false, true));
        assert_eq!(columns.out(Room::Wide), (false, true));
        assert_eq!(columns.out(Room::Narrow), (false, false));
    }
}
