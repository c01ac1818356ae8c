//! Sources that the compiler takes, one small script each. The clause of ECMA-262 that each is an instance of stands
//! before its group.

/// Scripts of the subset.
pub(crate) const ACCEPTED: &[&str] = &[
    "",
    "#! a first line for another program\n1",
    // sec-automatic-semicolon-insertion
    "a\nb\n++c\nd",
    "var a = 1\nvar b = 2",
    "do x(); while (y) z()",
    "function f() { return\n1 }",
    "for (;;) { break\n } a: for (;;) { continue\na }",
    "{ 1 } 2",
    "if (a) b; else c",
    // sec-literals-numeric-literals
    "0; 1; 12.5; .5; 5.; 1e3; 1E-3; 0x1F; 0b101; 0o17; 1_000; 0.0; 9007199254740993;",
    "-0; - 1; +1; -8388608; -8388609; 8388607; 8388608; -(0);",
    // sec-literals-string-literals
    "'a'; \"b\"; 'it\\'s'; '\\n\\x41\\u0042\\u{1F600}'; 'a\\\nb'; '\\0'; 'caf\u{e9}'; '\u{1F600}'; '\u{2028}'",
    // sec-template-literals
    "``; `a`; `a${b}c${d}`; `${a}${b}`; `a\n${`b${c}`}`; `\\``; `$`; `$a`; `\\u{41}`; `${{}}`; `a\r\nb`",
    // sec-names-and-keywords
    "var \\u0061b = 1; ab; var caf\u{e9} = 2; var $ = 3, _ = 4; \u{3c0}; a\u{200c}b; x.if; x.class; x.\\u0069f",
    "var async = 1, of = 2, get = 3, set = 4, await = 5; async; async(1); of; get; set; await; async\n(1)",
    // sec-identifiers, sec-this-keyword
    "this; x; undefined; this.a = 1; typeof undeclared; typeof this",
    // sec-array-initializer
    "[]; [1]; [1, 2,]; [,]; [, 1]; [1, , 2]; [[], [[]]]; [,,]",
    "[1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,18,19,20,21,22,23,24,25,26,27,28,29,30,31,32,33,34,35]",
    "[1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,18,19,20,21,22,23,24,25,26,27,28,29,30,31,32,,34]",
    // sec-object-initializer
    "({}); ({a: 1, 'b': 2, 3: 4, 0.5: 5, 'if': 6, if: 7, '0': 8}); ({a, b}); ({[a + b]: c})",
    "({get a() { return 1 }, set a(v) { this.b = v }, get 'b'() {}, get 1() {}, get [c]() {}, set [c](d) {}})",
    "({get: 1, set: 2}); ({get, set}); ({get() {}, set() {}, async() {}}); ({async: 1}); ({async})",
    "({m() { return 1 }, 'n'() {}, 2() {}, [o]() {}}); ({__proto__: a}); ({__proto__: a, ['__proto__']: b})",
    "var __proto__; ({__proto__, __proto__: 1}); ({__proto__() {}}); ({a: 1, a: 2})",
    // sec-function-definitions
    "function f() {} function g(a, b,) { return a + b } f(); g(1, 2,); (function () {}); (function h() { h() })",
    "function f(a) { var a; function a() {} return a } function f() {}",
    "var f = function () {}, g = (function () {}), h = function i() {}; f = function () {}; (f) = function () {}",
    "function f() { return arguments.length + arguments[0] } function g() { return () => arguments[0] + this.x }",
    "(function f() { f = 1 }); (function f() { return () => { f = 1 } }); (function f() { var f = 1; f = 2; return () => f })",
    "(function f(f) { return f }); (function f() { return () => f })",
    "function outer() { function a() { return b() } function b() { return a } return a }",
    "function g() { function h() { return x } var x = 1; return h() }",
    "function g() { function h() { return x } let x = 1; return h() }",
    "function g() { { function h() { return x } } let x = 1; }",
    "function f() { return function () { return function () { return x + f } } } var x",
    "function f(x) { return function () { return function () { return x } } }",
    "function f(x) { { let y = x; return function () { { let z = y; return function () { return x + y + z } } } } }",
    // sec-arrow-function-definitions
    "x => x; (x) => x; () => {}; (a, b) => a + b; (a, b,) => { return a }; a => b => c => a + b + c",
    "x => ({}); x => ({a: x}).a; (x => x)(1); f(x => x, () => 1); a ? x => x : y => y; a = b => c",
    "(a); (a, b); ((a)); ((a, b) => a); (((a))); (a)(b); f((a), (b) => c); (x => x)",
    "() => this; () => () => this; function f() { return () => () => this } ({m: () => this})",
    "{ () => this } for (let i of a) { () => this + i } const g = () => { return () => this }",
    "(a,\nb) => a; var f = (a) =>\n1; async => 1; (async) => 1",
    // sec-left-hand-side-expressions
    "a.b; a[b]; a['b']; a['0']; a[0]; a.b.c[d].e; a(); a.b(); a[b](); a()(); a().b; (a.b)(); (a, a.b)()",
    "new A; new A(); new A(1, 2); new A.B; new A.B(1).c; new (a())(); new new A()(); new (a.b); new A[0](1)",
    "(0, eval)('1'); eval; a.eval()",
    // sec-update-expressions
    "a++; a--; ++a; --a; a.b++; a[b]++; ++a.b; --a[b]; x = a++; x = a.b++; x = a[b]--; x = ++a[b]; x = a[0]++",
    "a\n++b; a + +b; a - -b; a++ + ++b; (a)++; (a.b)--; (a[b])++",
    // sec-unary-operators
    "delete a.b; delete a[b]; delete 1; delete a(); delete (a.b); void 0; void a(); typeof a; typeof a.b; +a; -a; ~a; !a; !!a; !!!a; - - a",
    // sec-exp-operator to sec-binary-bitwise-operators
    "a ** b; a ** b ** c; (-a) ** b; a * b / c % d; a + b - c; a << b >> c >>> d; 2 ** -1; a ** -b",
    "a < b; a > b; a <= b; a >= b; a instanceof b; a in b; a == b; a != b; a === b; a !== b; a & b ^ c | d",
    // sec-binary-logical-operators, sec-conditional-operator, sec-comma-operator
    "a && b; a || b; a && b || c && d; a || (b && c); !(a && b) || c; a ? b : c; a ? b : c ? d : e; a, b, c; (a, b).c",
    "if (a && b || c) d; if (!(a || b)) c; while (a && (b || !c)) d; x = a && b || c; a && b && c && d(); a || (b = c)",
    "x = !(a && b) ? c || d : !e; if (!!a) b; if (!a && !b) c; while (!a) b; do {} while (!a || b)",
    // sec-assignment-operators
    "a = b; a = b = c; a.b = c; a[b] = c; a += 1; a.b -= 1; a[b] *= 1; a /= 1; a %= 1; a **= 2; a <<= 1; a >>= 1; a >>>= 1; a &= 1; a |= 1; a ^= 1",
    "x = a.b = c[d] = e; x = a += b -= c; a['b'] += 1; a[0] += 1; (a) = 1; (a.b) = 1; a = b ? c : d; f(a = 1, b.c = 2)",
    "f(1, 2, 3, a.b ??= c); f(1, a[b] ||= 2, 3); [1, 2, 3, a.b &&= c(4, 5)]; f(a, b, (c.d ??= e, 1), c[d] ??= e[f] ??= 2)",
    // sec-block, sec-let-and-const-declarations, sec-variable-statement
    "let a; let b = 1, c = 2; const d = 3; var e, f = 4, f; { let a; const b = 1; { let a = 2 } } { var e }",
    "{ let a = 1; { a; let b = a; { b; a = b } } } { x; let x = x; } { let x = () => x; x() }",
    "{ f(); function f() {} } { { g; } function g() {} } { let a = f; function f() { return a } }",
    "function f() { x; { x } let x = 1; { x } x } function g() { { x } var x } function h() { { var x } { var x } x }",
    "function f() { const a = 1; a = 2; a++; a += 1; x = a = 3; return () => { a = 4; return a++ } }",
    "function f() { { a = 1; const a = 2 } } { a2 = 1; let a2 } { typeof b2; let b2 }",
    "function f() { { let x = 1; g(() => x) } { let y = 2; g(() => y) } { let z = 3 } }",
    "const k = 1; k = 2; function f() { k = 3 } () => { k++ }",
    // sec-if-statement, sec-iteration-statements
    "if (a) ; if (a) {} else {} if (a) b; else if (c) d; else if (e) f; else g",
    "while (a) b; do a; while (b); do { } while (a); for (;;) break; for (a; b; c) d; for (;a;); for (;;a) { break }",
    "for (var i = 0, n = 2; i < n; i++) ; for (let i = 0; i < 3; i++) { f(() => i) } for (const k = 1; ;) { f(k); break }",
    "for (let i = 0, g = () => i; i < 2; i++) f(g); for (let i = 0; i < 1; i++) { let i = 2; f(() => i) }",
    "for (a in b) c; for (a.b in c) d; for (a[b] in c) d; for (var a in b) c; for (let a in b) f(() => a); for (const a in b) c",
    "for (a of b) c; for (a.b of c) d; for (a[f()] of c) d; for (var a of b) c; for (let a of b) f(() => a); for (const a of b) c",
    "for (let x of [x]) x; for (let x of [() => x]) x; for (const k in { k: () => k }) k; for (let of of of) of; for (var x of (a, b)) ;",
    "for (var i = (a in b); i;) break; for (x = (a in b) ? 1 : 2; ;) break; for (let f = () => (a in b); ;) break; for ((a) in b) ; for ((a.b) of c) ;",
    "for (let i of a) for (let j of i) { if (j) continue; if (i) break; f(i, j) }",
    // sec-continue-statement, sec-break-statement, sec-labelled-statements
    "a: for (;;) { b: for (;;) { if (x) continue a; if (y) break a; if (z) continue b; break b } }",
    "a: { b: { if (x) break a; if (y) break b; } z() } a: b: for (;;) { if (x) continue a; break b } a: ; a: a2: { break a2 }",
    "a: for (x of y) { for (z in x) { continue a } } a: while (b) do { continue a } while (c); a: do { break a } while (d)",
    // sec-return-statement, sec-throw-statement, sec-switch-statement
    "function f() { return } function g() { return 1, 2 } function h() { if (a) return; else return b; } throw a",
    "switch (a) {} switch (a) { default: } switch (a) { case 1: case 2: b; break; default: c; case 3: d }",
    "switch (a) { case 1: let x = 1; f(() => x); break; default: function g() {} x; } switch (x) { case x: let x; }",
    "a: switch (b) { case 1: switch (c) { case 2: break a } } for (;;) { switch (a) { case 1: continue; default: break } break }",
    "function f() { switch (a) { case 1: return 1; case 2: return 2 } } function g() { switch (a) { default: return } }",
    "switch (a) { case b && c: d; break; case e ? f : g: h }",
    // sec-try-statement
    "try { a } catch (e) { b } try { a } catch { b } try { a } finally { b } try { a } catch (e) { b } finally { c }",
    "function f() { try { return a } finally { b } } function g() { try { return a } catch (e) { return e } finally { return c } }",
    "for (;;) { try { if (a) break; if (b) continue; } finally { c } } a: for (;;) { for (;;) { try { break a } finally { continue a } } }",
    "function f() { try { try { return 1 } finally { a } } finally { b } } function g() { for (;;) { try { try { break } catch (e) { continue } } finally { a } } }",
    "function f() { for (x of y) { try { return x } catch (e) { break } finally { for (;;) { break } } } }",
    "function f() { try { throw 1 } catch (e) { f(() => e); let g = e; var h = g } finally { let e = 1 } } try { } catch (e) { var e = 1; }",
    "function f() { try { } finally { } try { return } finally { return } } function g() { try { try { } finally { return } } catch (e) { } }",
    "function f() { a: try { break a } finally { b } try { for (;;) { break } } finally { } } try { } catch (e) { }",
    "function f() { try { return 1 } catch (e) { try { return 2 } finally { g() } } finally { try { return 3 } catch (e) { } } }",
    "function f() { for (const x of y) { try { if (x) return x; continue } finally { z(() => x) } } }",
    "function f() { while (true) { try { return 1 } finally { if (a) continue; if (b) break } } }",
    "debugger; ; ; 'use strict'; 'a' + b",
    // sec-class-definitions
    "class A {} class B extends A {} x = class {}; y = class C extends (a, b) { ; ; }; (class extends a.b() {}).c",
    "class A { constructor(a) { this.a = a } m() {} get b() { return 1 } set b(v) {} static s() {} static get t() { return 1 } static set t(v) {} }",
    "class A { 'a'() {} 1() {} [b]() {} get [c]() { return 1 } static [d]() {} static 'e'() {} 1.5() {} }",
    "class A { a; b = 1; [c] = 2; 'd' = 3; 4 = 5; static e; static f = this; static [g]; h = () => this.a; i = class { j = this }\nk\n l }",
    "class A { static { } static { var a = 1; let b = () => this + a; b() } static { class B { static { this.c } } } }",
    "class A { get; set; static; async; get = 1; static get; static static; static async = 2; static set() {} static static() {} get\na() { return 1 } }",
    "function f(x) { class A { a = x; b = x++; c = () => x; d = () => A; static e = x; [x] = x; m() { return x + A } } return A } let x",
    "class A { m() { A = 1; return () => A } } { class B extends B {} } for (let i of a) { class C { n = i } f(C) } function g() { return D } class D {}",
    // sec-super-keyword
    "class A extends B { constructor() { super(); } } class C extends B { constructor(...a) { super(1, ...a); this.b } }",
    "class A extends B { constructor(a) { if (a) return; try { super(); return {} } finally { a() } for (;;) { return a } } }",
    "class A extends B { constructor() { const f = () => { super(); return () => this }; f(); (() => super.a + new.target)() } }",
    "class A extends B { constructor(a = () => super(), b = this) { } } class C extends B { constructor(a = super()) { return this } }",
    "class A { m() { super.a; super[b]; super.c(); super[d](1); super.e = 1; super[f] += 2; super.g++; x = super.h--; --super[i]; delete super.j; typeof super.k } }",
    "class A { m() { super.a ??= 1; x = super[b] ||= 2; [super.c, super[d]] = e; ({ f: super.g, ...super.h } = i); for (super.j of k) ; for (super[l] in m) ; super.n?.(); super.o`p`; new super.q(1) } }",
    "class A { a = super.b; static c = () => super.d; static e() { return super.f } get g() { return super.h } set i(v) { super.j = v } static { super.k } }",
    "({ m() { return super.a }, get b() { return super.c }, set b(v) { super.d = v }, [e]() { super.f() }, 1() { return () => super.g } })",
    // sec-meta-properties
    "function f(a = new.target) { new.target; return () => () => new.target } (function () { new new.target(); new.target() })",
    "class A { constructor() { new.target } m() { return () => new.target } a = new.target; static { new.target } } ({ get a() { return new.target } })",
    // Dead code.
    "function f() { return 1; g(); for (;;) { h() } try { a } catch (e) { b } finally { c } } function g() { throw 1; { let x; () => x } }",
    "function f() { for (;;) ; g() } function g() { while (true) { } } function h() { for (;;) { return } try { } catch (e) { e } }",
    "while (false) a; if (true) b; else c; if (false) d; do { } while (false); while (1) { break }",
];
