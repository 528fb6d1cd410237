//! Changes to a text, drawn at random but the same for the same seed.

/// SplitMix64 (Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators").
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Below `bound`, which is not zero.
    pub fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound as u64) as usize
    }

    fn one_of<'a, T: ?Sized>(&mut self, choices: &[&'a T]) -> &'a T {
        choices[self.below(choices.len())]
    }
}

/// Values at home in some key or in none.
const VALUES: [&str; 46] = [
    "0",
    "-0.0",
    "1",
    "-1",
    "2",
    "0.5",
    "1e-300",
    "1e300",
    "1e400",
    "4096",
    "65536",
    "18446744073709551615",
    "-9223372036854775808",
    "9223372036854775807",
    "0x7fffffffffffffffff",
    "nan",
    "-inf",
    "inf",
    "true",
    "\"\"",
    "\"U1\"",
    "\"logic\"",
    "\"silicon\"",
    "\"..\"",
    "\"a.csv\"",
    "\"up\"",
    "\"down\"",
    "\"correlated\"",
    "\"prescribed\"",
    "[]",
    "[[]]",
    "[1, 2]",
    "[1.0, 2.0, 3.0]",
    "[1.0, 2.0, 3.0, 4.0]",
    "[nan, 1.0]",
    "[[0, 0], [1, 1]]",
    "{}",
    "{ material = \"silicon\", thickness_mm = 0.1 }",
    "1979-05-27T07:32:00Z",
    "'''x'''",
    "90",
    "270",
    "0.001",
    "600.0",
    "99999.9",
    "25,0",
];

/// Pieces of the two languages, and what breaks readers of any language.
const SNIPPETS: [&str; 44] = [
    "\n[[die]]\n",
    "\n[die]\n",
    "\n[[die.block]]\n",
    "\n[module]\n",
    "\n[[module.layer]]\n",
    "\n[[heater]]\n",
    "\n[material.x]\n",
    "\n[fluid.x]\n",
    "\n[die_type.y]\n",
    "\n[nozzle_type.z]\n",
    "\n[[nozzle]]\n",
    "\n[[nozzle_group]]\n",
    "\n[[spray.patch]]\n",
    "\n[[sensor]]\n",
    "\n[cycle]\n",
    "\n[[cycle.power]]\n",
    "\n[[cycle.coolant]]\n",
    "\n[qualification]\n",
    "\n[[tolerance]]\n",
    "\n[arrange]\n",
    "\n[correction]\n",
    "\n[backing_plate]\n",
    "\n[mesh]\ncell_mm = 0.001\n",
    "power_map = \"a.csv\"\n",
    "map = \"a.csv\"\n",
    "trace = \"a.csv\"\n",
    "history = \"a.csv\"\n",
    "turn_deg = 90\n",
    "a.b.c = 1\n",
    "=",
    "[",
    "]]",
    "\"",
    "\"\"\"",
    "#",
    ",",
    ",,,,",
    ";",
    "\r\n",
    "\u{feff}",
    "\0",
    "\u{202e}",
    "é",
    "\t",
];

/// Longest text that a change may make.
const LONGEST: usize = 16_384;

/// `text` after some changes; `others` are texts to take pieces from.
pub fn changed(text: &str, others: &[String], random: &mut Random) -> String {
    let mut bytes = text.as_bytes().to_vec();
    let changes = 1 + random.below(4);
    for _ in 0..changes {
        change(&mut bytes, others, random);
        bytes.truncate(LONGEST);
    }
    match String::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => String::from_utf8_lossy(error.as_bytes()).into_owned(),
    }
}

fn change(bytes: &mut Vec<u8>, others: &[String], random: &mut Random) {
    if bytes.is_empty() {
        bytes.extend_from_slice(random.one_of(&SNIPPETS).as_bytes());
        return;
    }
    let at = random.below(bytes.len());
    match random.below(12) {
        0 => bytes[at] ^= 1 << random.below(7),
        1 => bytes[at] = b' ' + random.below(95) as u8,
        2 => {
            let end = (at + 1 + random.below(40)).min(bytes.len());
            bytes.drain(at..end);
        }
        3 => insert(bytes, at, random.one_of(&SNIPPETS).as_bytes()),
        4 => insert(bytes, at, random.one_of(&VALUES).as_bytes()),
        5 | 6 => revalue(bytes, at, random),
        7 => {
            let line = bytes[line_at(bytes, at)].to_vec();
            let to = line_at(bytes, random.below(bytes.len())).start;
            insert(bytes, to, &line);
        }
        8 => {
            let line = line_at(bytes, at);
            bytes.drain(line);
        }
        9 => {
            let other = random.one_of(&others.iter().map(String::as_str).collect::<Vec<_>>());
            let other = other.as_bytes();
            if !other.is_empty() {
                let from = random.below(other.len());
                let end = (from + 1 + random.below(300)).min(other.len());
                insert(bytes, at, &other[from..end]);
            }
        }
        10 => {
            // Many times the same: lists, rows, tables.
            let line = bytes[line_at(bytes, at)].to_vec();
            let start = line_at(bytes, at).start;
            let times = 1 + random.below(60);
            insert(bytes, start, &line.repeat(times.min(1 + LONGEST / line.len().max(1))));
        }
        _ => bytes.truncate(at),
    }
}

fn insert(bytes: &mut Vec<u8>, at: usize, what: &[u8]) {
    bytes.splice(at..at, what.iter().copied());
}

/// The line around a byte, with its end.
fn line_at(bytes: &[u8], at: usize) -> std::ops::Range<usize> {
    let start = bytes[..at].iter().rposition(|&b| b == b'\n').map_or(0, |n| n + 1);
    let end = bytes[at..].iter().position(|&b| b == b'\n').map_or(bytes.len(), |n| at + n + 1);
    start..end
}

/// Puts another value in place of a number, a cell or what follows an equals sign.
fn revalue(bytes: &mut Vec<u8>, at: usize, random: &mut Random) {
    let line = line_at(bytes, at);
    let value = random.one_of(&VALUES).as_bytes();
    let numeric = |b: &u8| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e');
    let first = bytes[at..line.end].iter().position(numeric).map(|n| at + n);
    let range = match (first, bytes[line.clone()].iter().position(|&b| b == b'=')) {
        (Some(first), _) => {
            let length = bytes[first..line.end].iter().take_while(|b| numeric(b)).count();
            first..first + length
        }
        (None, Some(equals)) => {
            let end = if bytes[line.end - 1] == b'\n' { line.end - 1 } else { line.end };
            (line.start + equals + 1).min(end)..end
        }
        (None, None) => return,
    };
    bytes.splice(range, value.iter().copied());
}
