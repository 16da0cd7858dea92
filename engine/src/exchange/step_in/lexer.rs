//! Tokens of a Part 21 exchange file (ISO 10303-21, clear text encoding), read from bytes without copying.

/// One token; texts are the raw bytes between the apostrophes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Token<'a> {
    Reference(u64),
    Keyword(&'a str),
    Text(&'a [u8]),
    Number(f64),
    Enumeration(&'a str),
    Binary,
    Open,
    Close,
    Comma,
    Semicolon,
    Equals,
    Missing,
    Derived,
    End,
}

/// Where the text breaks the format, and how.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fault {
    pub at: usize,
    pub found: String,
    pub allowed: &'static str,
}

/// Reads tokens one by one from `at`.
#[derive(Debug, Clone)]
pub(super) struct Lexer<'a> {
    pub bytes: &'a [u8],
    pub at: usize,
}

impl<'a> Lexer<'a> {
    pub(super) fn next(&mut self) -> Result<Token<'a>, Fault> {
        self.skip_blank()?;
        let Some(&byte) = self.bytes.get(self.at) else { return Ok(Token::End) };
        match byte {
            b'(' => Ok(self.single(Token::Open)),
            b')' => Ok(self.single(Token::Close)),
            b',' => Ok(self.single(Token::Comma)),
            b';' => Ok(self.single(Token::Semicolon)),
            b'=' => Ok(self.single(Token::Equals)),
            b'$' => Ok(self.single(Token::Missing)),
            b'*' => Ok(self.single(Token::Derived)),
            b'#' => self.reference(),
            b'\'' => self.text(),
            b'"' => self.binary(),
            b'.' => self.enumeration(),
            b'+' | b'-' | b'0'..=b'9' => self.number(),
            b'!' | b'_' | b'a'..=b'z' | b'A'..=b'Z' => Ok(self.keyword()),
            _ => Err(self.fault("a STEP token")),
        }
    }

    /// Moves past the next semicolon outside of texts and comments; calls `keyword` for each
    /// keyword that stands at parenthesis depth one, the names of a complex instance.
    pub(super) fn skip_statement(&mut self, mut keyword: impl FnMut(&'a str)) -> Result<(), Fault> {
        let mut depth = 0_u32;
        loop {
            self.skip_blank()?;
            let Some(&byte) = self.bytes.get(self.at) else {
                return Err(self.fault("a semicolon that ends the instance"));
            };
            match byte {
                b';' => {
                    self.at += 1;
                    return Ok(());
                }
                b'\'' => {
                    self.text()?;
                }
                b'"' => {
                    self.binary()?;
                }
                b'_' | b'a'..=b'z' | b'A'..=b'Z' if depth == 1 => {
                    if let Token::Keyword(name) = self.keyword() {
                        keyword(name);
                    }
                }
                b'(' => {
                    depth = depth.saturating_add(1);
                    self.at += 1;
                }
                b')' => {
                    depth = depth.saturating_sub(1);
                    self.at += 1;
                }
                _ => self.at += 1,
            }
        }
    }

    pub(super) fn fault(&self, allowed: &'static str) -> Fault {
        self.fault_at(self.at, allowed)
    }

    fn fault_at(&self, at: usize, allowed: &'static str) -> Fault {
        // The place is that of the token, not of the blanks before it.
        let blank = |b: &&u8| b.is_ascii_whitespace() || **b == 0;
        let at = at + self.bytes.iter().skip(at).take_while(blank).count();
        let rest = self.bytes.get(at..).unwrap_or_default();
        let found = match rest.first() {
            None => "the end of the file".into(),
            Some(_) => format!("\"{}\"", String::from_utf8_lossy(&rest[..rest.len().min(24)])),
        };
        Fault { at, found: found.replace(['\n', '\r'], " "), allowed }
    }

    fn single(&mut self, token: Token<'a>) -> Token<'a> {
        self.at += 1;
        token
    }

    fn skip_blank(&mut self) -> Result<(), Fault> {
        loop {
            match self.bytes.get(self.at) {
                Some(b) if b.is_ascii_whitespace() || *b == 0 => self.at += 1,
                Some(b'/') if self.bytes.get(self.at + 1) == Some(&b'*') => self.comment()?,
                _ => return Ok(()),
            }
        }
    }

    fn comment(&mut self) -> Result<(), Fault> {
        let body = self.at + 2;
        match self.bytes[body..].windows(2).position(|pair| pair == b"*/") {
            Some(end) => {
                self.at = body + end + 2;
                Ok(())
            }
            None => Err(self.fault("a comment that is closed by */")),
        }
    }

    fn take_while(&mut self, allowed: impl Fn(u8) -> bool) -> &'a str {
        let start = self.at;
        while self.bytes.get(self.at).is_some_and(|b| allowed(*b)) {
            self.at += 1;
        }
        // Every caller allows ASCII only.
        std::str::from_utf8(&self.bytes[start..self.at]).unwrap_or_default()
    }

    fn keyword(&mut self) -> Token<'a> {
        Token::Keyword(self.take_while(|b| b.is_ascii_alphanumeric() || b"_-!".contains(&b)))
    }

    fn reference(&mut self) -> Result<Token<'a>, Fault> {
        let start = self.at;
        self.at += 1;
        let number = self.take_while(|b| b.is_ascii_digit()).parse().map(Token::Reference);
        number.map_err(|_| self.fault_at(start, "# and an instance number below 2^64"))
    }

    fn text(&mut self) -> Result<Token<'a>, Fault> {
        let start = self.at + 1;
        self.at = start;
        loop {
            match self.bytes.get(self.at) {
                None => {
                    return Err(self.fault_at(start - 1, "a text that is closed by an apostrophe"));
                }
                Some(b'\'') if self.bytes.get(self.at + 1) == Some(&b'\'') => self.at += 2,
                Some(b'\'') => {
                    self.at += 1;
                    return Ok(Token::Text(&self.bytes[start..self.at - 1]));
                }
                Some(_) => self.at += 1,
            }
        }
    }

    fn binary(&mut self) -> Result<Token<'a>, Fault> {
        let start = self.at;
        self.at += 1;
        self.take_while(|b| b.is_ascii_hexdigit());
        if self.bytes.get(self.at) != Some(&b'"') {
            return Err(self.fault_at(start, "a binary value that is closed by \""));
        }
        Ok(self.single(Token::Binary))
    }

    fn enumeration(&mut self) -> Result<Token<'a>, Fault> {
        let start = self.at;
        self.at += 1;
        let name = self.take_while(|b| b.is_ascii_alphanumeric() || b == b'_');
        if name.is_empty() || self.bytes.get(self.at) != Some(&b'.') {
            return Err(self.fault_at(start, "an enumeration value between two points"));
        }
        Ok(self.single(Token::Enumeration(name)))
    }

    fn number(&mut self) -> Result<Token<'a>, Fault> {
        let start = self.at;
        let text = self.take_while(|b| b.is_ascii_digit() || b"+-.eE".contains(&b));
        match text.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(Token::Number(value)),
            _ => Err(self.fault_at(start, "a finite number")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tokens(text: &[u8]) -> Result<Vec<Token<'_>>, Fault> {
        let mut lexer = Lexer { bytes: text, at: 0 };
        let mut found = Vec::new();
        loop {
            match lexer.next()? {
                Token::End => return Ok(found),
                token => found.push(token),
            }
        }
    }

    // The forms are those of ISO 10303-21, clause 6.
    #[test]
    fn every_token_of_the_clear_text_encoding_is_told_apart() {
        let text = b"#12 = A_B('it''s',-1.,2E-3,$,*,.T.,\"0F\",(#3)) /* x ; ' */ ;";
        let expected = [
            Token::Reference(12),
            Token::Equals,
            Token::Keyword("A_B"),
            Token::Open,
            Token::Text(b"it''s"),
            Token::Comma,
            Token::Number(-1.0),
            Token::Comma,
            Token::Number(2e-3),
            Token::Comma,
            Token::Missing,
            Token::Comma,
            Token::Derived,
            Token::Comma,
            Token::Enumeration("T"),
            Token::Comma,
            Token::Binary,
            Token::Comma,
            Token::Open,
            Token::Reference(3),
            Token::Close,
            Token::Close,
            Token::Semicolon,
        ];
        assert_eq!(tokens(text), Ok(expected.to_vec()));
    }

    #[test]
    fn broken_tokens_are_refused_where_they_stand() {
        for (text, at) in [
            (&b"  'open"[..], 2),
            (b"/* open", 0),
            (b"1E400", 0),
            (b"#99999999999999999999", 0),
            (b" .T", 1),
            (b"\"0F", 0),
            (b"1.2.3", 0),
            (b"{", 0),
        ] {
            assert_eq!(tokens(text).map_err(|f| f.at), Err(at), "{}", text.escape_ascii());
        }
    }
}
