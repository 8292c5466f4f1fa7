//! Walks over canonical JSON without building a tree of it.
//!
//! The verifier spends its time here, so nothing is allocated. Only what the ledger itself may store passes: strings,
//! integers below 2^53, true, false, lists and objects to a small depth. Whatever passes is canonical by RFC 8785;
//! tests hold that against the slow way, which is to read a tree, write it again and compare.

/// How deep lists and objects in a field may be nested.
pub(crate) const MAX_DEPTH: usize = 3;
/// Longest key of an object inside a field, in bytes.
pub(crate) const MAX_KEY: usize = 128;
/// Integers stay below this in size, so that every JSON reader carries them exactly.
pub(crate) const INTEGER_BOUND: u64 = 1 << 53;

/// A place in bytes that are already known to be UTF-8.
pub(crate) struct Scan<'a> {
    text: &'a str,
    at: usize,
}

impl<'a> Scan<'a> {
    pub(crate) fn new(text: &'a str) -> Self {
        Self { text, at: 0 }
    }

    fn peek(&self) -> Option<u8> {
        self.text.as_bytes().get(self.at).copied()
    }

    /// Exactly these bytes come next.
    pub(crate) fn literal(&mut self, expected: &[u8]) -> Option<()> {
        let rest = self.text.as_bytes().get(self.at..)?;
        rest.starts_with(expected)
            .then(|| self.at += expected.len())
    }

    /// Steps over `b` if it comes next.
    pub(crate) fn eat(&mut self, b: u8) -> bool {
        let here = self.peek() == Some(b);
        self.at += usize::from(here);
        here
    }

    /// Nothing is left.
    pub(crate) fn end(&self) -> Option<()> {
        (self.at == self.text.len()).then_some(())
    }

    /// A quoted string of printable ASCII without a quote or a backslash, so it needs no escape.
    pub(crate) fn plain(&mut self, max: usize) -> Option<&'a str> {
        self.literal(b"\"")?;
        let start = self.at;
        loop {
            match self.peek()? {
                b'"' => break,
                b'\\' => return None,
                0x20..=0x7e => self.at += 1,
                _ => return None,
            }
        }
        let text = self.text.get(start..self.at)?;
        self.at += 1;
        (text.len() <= max).then_some(text)
    }

    /// An integer from 0 to below 2^53, without leading zeros.
    pub(crate) fn unsigned(&mut self) -> Option<u64> {
        let start = self.at;
        let mut n = 0_u64;
        while let Some(b @ b'0'..=b'9') = self.peek() {
            n = n.checked_mul(10)?.checked_add(u64::from(b - b'0'))?;
            self.at += 1;
        }
        let digits = self.at - start;
        let leading_zero = digits > 1 && self.text.as_bytes()[start] == b'0';
        (digits > 0 && !leading_zero && n < INTEGER_BOUND).then_some(n)
    }

    /// One value that a field may hold; its bytes as they stand.
    pub(crate) fn value(&mut self) -> Option<&'a [u8]> {
        let start = self.at;
        self.any(0)?;
        self.text.as_bytes().get(start..self.at)
    }

    fn any(&mut self, depth: usize) -> Option<()> {
        match self.peek()? {
            b'"' => self.string(),
            b't' => self.literal(b"true"),
            b'f' => self.literal(b"false"),
            b'-' => {
                self.at += 1;
                // There is no minus zero in canonical JSON.
                (self.unsigned()? != 0).then_some(())
            }
            b'0'..=b'9' => self.unsigned().map(drop),
            b'[' if depth < MAX_DEPTH => self.list(depth + 1),
            b'{' if depth < MAX_DEPTH => self.object(depth + 1),
            _ => None,
        }
    }

    fn list(&mut self, depth: usize) -> Option<()> {
        self.literal(b"[")?;
        if self.eat(b']') {
            return Some(());
        }
        loop {
            self.any(depth)?;
            if !self.eat(b',') {
                return self.literal(b"]");
            }
        }
    }

    fn object(&mut self, depth: usize) -> Option<()> {
        self.literal(b"{")?;
        if self.eat(b'}') {
            return Some(());
        }
        let mut last = "";
        loop {
            let key = self.plain(MAX_KEY)?;
            // Keys are ASCII, so the order of bytes is the order of UTF-16. None is empty, so the first one passes.
            if key <= last {
                return None;
            }
            last = key;
            self.literal(b":")?;
            self.any(depth)?;
            if !self.eat(b',') {
                return self.literal(b"}");
            }
        }
    }

    fn string(&mut self) -> Option<()> {
        self.literal(b"\"")?;
        loop {
            match self.peek()? {
                b'"' => {
                    self.at += 1;
                    return Some(());
                }
                b'\\' => self.escape()?,
                0x00..=0x1f => return None,
                _ => self.at += 1,
            }
        }
    }

    /// One of the escapes a canonical string may carry: only where one is needed, and the short one where there is one.
    fn escape(&mut self) -> Option<()> {
        let rest = self.text.as_bytes().get(self.at + 1..)?;
        match rest.first()? {
            b'"' | b'\\' | b'b' | b't' | b'n' | b'f' | b'r' => self.at += 2,
            b'u' => {
                let code = rest.get(1..5)?;
                let needed = match (code[0], code[1], code[2], code[3]) {
                    (b'0', b'0', b'0', low) => matches!(low, b'0'..=b'7' | b'b' | b'e' | b'f'),
                    (b'0', b'0', b'1', low) => matches!(low, b'0'..=b'9' | b'a'..=b'f'),
                    _ => false,
                };
                if !needed {
                    return None;
                }
                self.at += 6;
            }
            _ => return None,
        }
        Some(())
    }
}
