//! Whether a JPEG's coded picture is all there (ITU-T T.81).
//!
//! Decoders fill up what is missing with grey and say nothing when an end marker follows: some
//! programs put one behind a file that was cut short. So the coded blocks are counted here, without
//! decoding them: of sequential files every one, of progressive ones the scans that must be there.

/// Tables of one scan: how many codes of each length there are, and their symbols in order.
#[derive(Clone, Default)]
struct Codes {
    /// The first code of each length less the index of its first symbol, and one past the last
    /// code; lengths from 1.
    first: [i32; 17],
    index: [i32; 17],
    past: [i32; 17],
    symbols: Vec<u8>,
}

impl Codes {
    /// Section C.2: codes of a length follow each other, and begin at twice the last one before.
    fn new(counts: &[u8], symbols: &[u8]) -> Self {
        let mut codes = Self {
            symbols: symbols.to_vec(),
            ..Self::default()
        };
        let (mut code, mut index) = (0, 0);
        for length in 1..=16 {
            let count = i32::from(counts[length - 1]);
            codes.first[length] = code;
            codes.index[length] = index;
            code += count;
            index += count;
            codes.past[length] = code;
            code <<= 1;
        }
        codes
    }
}

/// One component of the frame.
#[derive(Clone, Copy, Default)]
struct Component {
    id: u8,
    across: usize,
    down: usize,
}

/// What is known while walking through the file.
#[derive(Default)]
struct Frame {
    width: usize,
    height: usize,
    progressive: bool,
    components: Vec<Component>,
    dc: [Codes; 4],
    ac: [Codes; 4],
    restart: usize,
    /// Of each component, the coefficients whose last bit came.
    complete: Vec<u64>,
}

/// Bits of coded data; past a marker or the end there are none.
struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
    kept: u32,
    count: u32,
}

impl Bits<'_> {
    fn bit(&mut self) -> Option<i32> {
        if self.count == 0 {
            let byte = *self.bytes.get(self.at)?;
            if byte == 0xff {
                // A zero is stuffed behind it; anything else is a marker.
                if self.bytes.get(self.at + 1) != Some(&0) {
                    return None;
                }
                self.at += 1;
            }
            self.at += 1;
            self.kept = u32::from(byte);
            self.count = 8;
        }
        self.count -= 1;
        Some((self.kept >> self.count & 1) as i32)
    }

    fn symbol(&mut self, codes: &Codes) -> Option<u8> {
        let mut code = 0;
        for length in 1..=16 {
            code = code << 1 | self.bit()?;
            if code < codes.past[length] {
                let place = code - codes.first[length] + codes.index[length];
                return codes.symbols.get(usize::try_from(place).ok()?).copied();
            }
        }
        None
    }

    fn skip(&mut self, bits: u8) -> Option<()> {
        for _ in 0..bits {
            self.bit()?;
        }
        Some(())
    }

    /// A block of a sequential scan: sections F.2.2.1 and F.2.2.2.
    fn block(&mut self, dc: &Codes, ac: &Codes) -> Option<()> {
        let bits = self.symbol(dc)?;
        self.skip(bits)?;
        let mut place = 1;
        while place < 64 {
            let (run, bits) = match self.symbol(ac)? {
                0 => break,
                symbol => (usize::from(symbol >> 4), symbol & 15),
            };
            place += run + 1;
            self.skip(bits)?;
        }
        Some(())
    }

    /// Goes on behind the next restart marker, if that is what comes.
    fn restart(&mut self) -> Option<()> {
        self.count = 0;
        while self.bytes.get(self.at) == Some(&0xff) && self.bytes.get(self.at + 1) == Some(&0xff) {
            self.at += 1;
        }
        let marker = self.bytes.get(self.at..self.at + 2)?;
        if marker[0] != 0xff || !(0xd0..=0xd7).contains(&marker[1]) {
            return None;
        }
        self.at += 2;
        Some(())
    }
}

/// What is missing of a JPEG's coded picture, if anything. A file that isn't understood here is the
/// decoder's to judge.
pub(super) fn missing(file: &[u8]) -> Option<String> {
    let mut frame = Frame::default();
    let mut at = 2;
    loop {
        let [mark, marker] = *file.get(at..at + 2)? else {
            return None;
        };
        if mark != 0xff || marker == 0xff || (0xd0..=0xd7).contains(&marker) {
            at += 1;
            continue;
        }
        if marker == 0xd9 {
            break;
        }
        let length = usize::from(u16::from_be_bytes([*file.get(at + 2)?, *file.get(at + 3)?]));
        let body = file.get(at + 4..at + 2 + length)?;
        at += 2 + length;
        match marker {
            0xc0..=0xc2 => frame.begin(marker == 0xc2, body)?,
            0xc4 => frame.codes(body)?,
            0xdd => {
                frame.restart = usize::from(u16::from_be_bytes([*body.first()?, *body.get(1)?]))
            }
            0xda => {
                if let Some((there, of)) = frame.scan(body, file.get(at..)?)? {
                    return Some(format!("{there} of {of} blocks of the picture are there"));
                }
            }
            _ => {}
        }
    }
    let whole = !frame.progressive || frame.complete.iter().all(|&places| places == u64::MAX);
    (!whole).then(|| "its last passes are missing".to_owned())
}

impl Frame {
    fn begin(&mut self, progressive: bool, body: &[u8]) -> Option<()> {
        self.progressive = progressive;
        self.height = usize::from(u16::from_be_bytes([*body.get(1)?, *body.get(2)?]));
        self.width = usize::from(u16::from_be_bytes([*body.get(3)?, *body.get(4)?]));
        let count = usize::from(*body.get(5)?);
        self.components = body
            .get(6..6 + 3 * count)?
            .chunks_exact(3)
            .map(|part| Component {
                id: part[0],
                across: usize::from(part[1] >> 4),
                down: usize::from(part[1] & 15),
            })
            .collect();
        self.complete = vec![0; count];
        let sound =
            |part: &Component| (1..=4).contains(&part.across) && (1..=4).contains(&part.down);
        self.components.iter().all(sound).then_some(())
    }

    fn codes(&mut self, mut body: &[u8]) -> Option<()> {
        while let Some((&head, rest)) = body.split_first() {
            let counts = rest.get(..16)?;
            let total: usize = counts.iter().map(|&count| usize::from(count)).sum();
            let codes = Codes::new(counts, rest.get(16..16 + total)?);
            let tables = if head >> 4 == 0 {
                &mut self.dc
            } else {
                &mut self.ac
            };
            *tables.get_mut(usize::from(head & 15))? = codes;
            body = &rest[16 + total..];
        }
        Some(())
    }

    /// Counts the blocks of a scan, as far as it is sequential; gives how many units are there, and
    /// of how many, when some are missing.
    #[expect(
        clippy::option_option,
        reason = "not understood, understood and complete, understood and cut short"
    )]
    fn scan(&mut self, head: &[u8], coded: &[u8]) -> Option<Option<(usize, usize)>> {
        let count = usize::from(*head.first()?);
        let mut parts = Vec::new();
        for part in head.get(1..1 + 2 * count)?.chunks_exact(2) {
            let place = self.components.iter().position(|one| one.id == part[0])?;
            parts.push((place, usize::from(part[1] >> 4), usize::from(part[1] & 15)));
        }
        let [start, end, bits] = *head.get(1 + 2 * count..4 + 2 * count)? else {
            return None;
        };
        if self.progressive {
            if bits & 15 == 0 && start <= end && end < 64 {
                let places = (u64::MAX >> (63 - end)) & (u64::MAX << start);
                parts
                    .iter()
                    .for_each(|part| self.complete[part.0] |= places);
            }
            return Some(None);
        }
        let most = |side: fn(&Component) -> usize| self.components.iter().map(side).max();
        let (across, down) = (most(|one| one.across)?, most(|one| one.down)?);
        // A.2.2 and A.2.3: one component alone is counted in its own blocks, several in units.
        let alone = parts.len() == 1;
        let one = self.components[parts.first()?.0];
        let units = if alone {
            let wide = (self.width * one.across).div_ceil(across).div_ceil(8);
            wide * (self.height * one.down).div_ceil(down).div_ceil(8)
        } else {
            self.width.div_ceil(8 * across) * self.height.div_ceil(8 * down)
        };
        let mut stream = Bits {
            bytes: coded,
            at: 0,
            kept: 0,
            count: 0,
        };
        for unit in 0..units {
            let due = self.restart > 0 && unit > 0 && unit % self.restart == 0;
            let restarted = if due { stream.restart() } else { Some(()) };
            let read = restarted.and_then(|()| {
                for &(place, dc, ac) in &parts {
                    let part = self.components[place];
                    let blocks = if alone { 1 } else { part.across * part.down };
                    for _ in 0..blocks {
                        stream.block(self.dc.get(dc)?, self.ac.get(ac)?)?;
                    }
                }
                Some(())
            });
            if read.is_none() {
                return Some(Some((unit, units)));
            }
        }
        Some(None)
    }
}
