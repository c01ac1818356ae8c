//! Any operations under each encoding: decoding gives them back, one by one and
//! in a row; and any bytes that decode are what the encoder writes for them. Any
//! instruction set: its text reads back, and what its entries stand for decodes. Any
//! bytes as an echo: what decodes is what the encoder writes.
#![no_main]

use libfuzzer_sys::{arbitrary, fuzz_target};
use scruple_bytecode::encoding::echo::{ECHO, Reference};
use scruple_bytecode::encoding::{
    Byte, CODE_PADDING, Composite, Decoder, Digits, Form, Implied, Leb, Word,
};
use scruple_bytecode::sets::{SetBuffer, Table};
use scruple_bytecode::{Encoding, Op};
use scruple_fuzz::sets;

#[derive(Debug, arbitrary::Arbitrary)]
struct Input {
    operations: Vec<(u8, i32)>,
    code: Vec<u8>,
    entries: Vec<Vec<(u8, i32, bool)>>,
    text: String,
}

/// Fetches as the interpreter does, which does not ask whether the bytes are right.
fn fetch<D: Decoder>(code: &[u8], at: usize) -> (Op, i32, usize) {
    let arm = D::ARMS[code[at] as usize];
    let (bits, next) = D::operand(arm, code, at);
    let opcode = if arm.form == Form::Wide { code[at + 1] } else { arm.opcode };
    let op = Op::from_opcode(opcode).expect("an operation");
    (op, op.info().operand.from_bits(bits, D::ZIGZAG), next)
}

fn fetch_in(encoding: Encoding, code: &[u8], at: usize) -> (Op, i32, usize) {
    match encoding {
        Encoding::Word => fetch::<Word>(code, at),
        Encoding::Byte => fetch::<Byte>(code, at),
        Encoding::Leb => fetch::<Leb>(code, at),
        Encoding::Implied => fetch::<Implied>(code, at),
        Encoding::Composite | Encoding::Echo | Encoding::Context => fetch::<Composite>(code, at),
    }
}

/// Every entry with operands from the input, laid down and read back; and any bytes.
fn check_set(input: &Input) {
    let buffer = sets::of(&input.entries);
    let set = buffer.set();
    let again = SetBuffer::parse(&set.to_string()).expect("the canonical text");
    assert_eq!((again.set(), again.set().hash()), (set, set.hash()));
    let entries = Table::BOTH.iter().flat_map(|&table| {
        set.entries_in(table).enumerate().map(move |(index, entry)| (table, index, entry))
    });
    for (table, index, entry) in entries {
        let mut code = vec![table.opcode_byte(index)];
        let mut wanted = Vec::new();
        for (part, at) in entry.parts().zip(index..) {
            let given = input.operations.get(at % input.operations.len().max(1));
            let given = given.map_or(0, |&(_, operand)| operand);
            let operand = match (part.operand, Digits::of(part.op, given)) {
                (Some(fixed), _) => fixed,
                (None, Some(digits)) => {
                    code.extend_from_slice(digits.as_slice());
                    given
                }
                (None, None) => {
                    code.push(0);
                    0
                }
            };
            wanted.push((part.op, operand));
        }
        let decoded = set.decode(&code, 0, table).expect("an entry");
        assert_eq!(decoded.table(), Some(table));
        assert_eq!(decoded.next, code.len());
        assert!(decoded.parts().map(|part| (part.op, part.operand)).eq(wanted));
        for cut in 0..code.len() {
            assert!(set.decode(&code[..cut], 0, table).is_none());
        }
    }
    for at in 0..input.code.len() {
        for &table in Table::BOTH {
            let decoded = set.decode(&input.code, at, table);
            assert!(decoded.is_none_or(|it| it.next > at && it.next <= input.code.len()));
        }
    }
    // Any text: a set, or an error with a place in it.
    if let Err(error) = SetBuffer::parse(&input.text) {
        assert!(error.line() as usize <= input.text.lines().count() + 1);
    }
}

/// The echo whose opcode byte stands at each place, whatever it is, and one of numbers
/// from the input.
fn check_echoes(input: &Input) {
    for at in 0..input.code.len() {
        let Some((reference, next)) = Reference::decode(&input.code, at) else { continue };
        assert!(next > at + 1 && next <= input.code.len());
        if let Some(encoded) = reference.encode() {
            assert_eq!(encoded.as_slice()[0], ECHO);
            assert_eq!(encoded.as_slice()[1..], input.code[at + 1..next]);
        } else {
            assert!(reference.back == 0 || reference.count > 8 || reference.back >> 24 != 0);
        }
    }
    for &(count, back) in &input.operations {
        let reference = Reference { count: usize::from(count), back: back.unsigned_abs() };
        let Some(encoded) = reference.encode() else { continue };
        let bytes = encoded.as_slice();
        assert_eq!(Reference::decode(bytes, 0), Some((reference, bytes.len())));
    }
}

fuzz_target!(|input: Input| {
    check_set(&input);
    check_echoes(&input);
    for &encoding in Encoding::ALL {
        let mut code = Vec::new();
        let mut wanted = Vec::new();
        for &(number, operand) in &input.operations {
            let op = Op::ALL[number as usize % Op::ALL.len()];
            // An operand that an encoding refuses, every encoding refuses.
            let encoded = encoding.encode(op, operand);
            assert_eq!(encoded.is_some(), Encoding::Word.encode(op, operand).is_some());
            if let Some(encoded) = encoded {
                code.extend_from_slice(encoded.as_slice());
                wanted.push((op, operand, code.len()));
            }
        }
        code.extend([0; CODE_PADDING]);
        let mut at = 0;
        for expected in wanted {
            let fetched = encoding.decode(&code, at).expect("what the encoder wrote");
            assert_eq!((fetched.op, fetched.operand, fetched.next), expected);
            assert_eq!(fetch_in(encoding, &code, at), expected);
            at = fetched.next;
        }
        for at in 0..input.code.len() {
            let Some(fetched) = encoding.decode(&input.code, at) else { continue };
            let encoded = encoding.encode(fetched.op, fetched.operand).expect("its operand");
            assert_eq!(encoded.as_slice(), &input.code[at..fetched.next]);
        }
    }
});
