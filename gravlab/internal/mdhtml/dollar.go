package mdhtml

import (
	"bytes"
	"strings"

	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"
)

// This file finds math in Markdown.

var (
	kindMath      = ast.NewNodeKind("Math")
	kindMathBlock = ast.NewNodeKind("MathBlock")
)

// mathNode is math in a line.
type mathNode struct {
	ast.BaseInline
	tex     string
	display bool

	before, after string // what stands on its line with it, without a blank
}

func (*mathNode) Kind() ast.NodeKind       { return kindMath }
func (n *mathNode) Dump(src []byte, l int) { ast.DumpHelper(n, src, l, nil, nil) }

// mathBlock is math on lines of its own.
type mathBlock struct {
	ast.BaseBlock
	pieces []string
	closed bool
}

func (*mathBlock) Kind() ast.NodeKind       { return kindMathBlock }
func (*mathBlock) IsRaw() bool              { return true }
func (n *mathBlock) Dump(src []byte, l int) { ast.DumpHelper(n, src, l, nil, nil) }
func (n *mathBlock) tex() string            { return strings.TrimSpace(strings.Join(n.pieces, "\n")) }

// blockMath parses from a line that begins with $$ to one that ends with it. As
// a block of its own it may hold lines that Markdown would take for a list.
type blockMath struct{}

func (blockMath) Trigger() []byte { return []byte{'$'} }

func (blockMath) Open(_ ast.Node, reader text.Reader, pc parser.Context) (ast.Node, parser.State) {
	line, _ := reader.PeekLine()
	rest := bytes.TrimSpace(line)
	if !bytes.HasPrefix(rest, []byte("$$")) || pc.BlockOffset() < 0 {
		return nil, parser.NoChildren
	}
	rest = bytes.TrimPrefix(rest, []byte("$$"))
	n := &mathBlock{}
	if i := bytes.Index(rest, []byte("$$")); i >= 0 {
		if len(bytes.TrimSpace(rest[i+2:])) > 0 { // text follows: math in a line
			return nil, parser.NoChildren
		}
		n.closed = true
		rest = rest[:i]
	}
	n.pieces = append(n.pieces, string(rest))
	reader.AdvanceToEOL()
	return n, parser.NoChildren
}

func (blockMath) Continue(node ast.Node, reader text.Reader, _ parser.Context) parser.State {
	n := node.(*mathBlock)
	if n.closed {
		return parser.Close
	}
	line, _ := reader.PeekLine()
	rest := bytes.TrimSpace(line)
	if tail, ok := bytes.CutSuffix(rest, []byte("$$")); ok {
		n.closed = true
		rest = tail
	}
	n.pieces = append(n.pieces, string(rest))
	reader.AdvanceToEOL()
	return parser.Continue | parser.NoChildren
}

func (blockMath) Close(ast.Node, text.Reader, parser.Context) {}
func (blockMath) CanInterruptParagraph() bool                 { return true }
func (blockMath) CanAcceptIndentedLine() bool                 { return false }

// inlineMath parses $...$ and $$...$$ inside a paragraph.
type inlineMath struct{}

func (inlineMath) Trigger() []byte { return []byte{'$'} }

func (inlineMath) Parse(_ ast.Node, block text.Reader, _ parser.Context) ast.Node {
	line, pos := block.Position()
	mark := "$"
	rest, _ := block.PeekLine()
	if bytes.HasPrefix(rest, []byte("$$")) {
		mark = "$$"
	}
	if len(rest) <= len(mark) || mark == "$" && blank(rest[1]) {
		return nil
	}
	block.Advance(len(mark))
	var tex []byte
	for {
		rest, _ := block.PeekLine()
		if rest == nil { // no end: the dollar sign is one
			block.SetPosition(line, pos)
			return nil
		}
		if i := closing(rest, mark, len(tex) == 0); i >= 0 {
			tex = append(tex, rest[:i]...)
			block.Advance(i + len(mark))
			break
		}
		tex = append(tex, rest...)
		block.AdvanceLine()
	}
	return &mathNode{tex: strings.TrimSpace(string(tex)), display: mark == "$$"}
}

// closing finds the mark that ends math in a line, or -1.
func closing(line []byte, mark string, first bool) int {
	for i := 0; i < len(line); i++ {
		switch {
		case line[i] == '\\':
			i++
		case bytes.HasPrefix(line[i:], []byte(mark)):
			if mark == "$$" {
				return i
			}
			if i == 0 && first || i > 0 && blank(line[i-1]) || i+1 < len(line) && line[i+1] >= '0' && line[i+1] <= '9' {
				continue
			}
			return i
		}
	}
	return -1
}

func blank(c byte) bool { return c == ' ' || c == '\t' || c == '\n' || c == '\r' }
