// The editor of the code boxes: CodeMirror with Go. The page works without it,
// with a plain text area (assets/editor.js); both are used in the same way.
import { defaultKeymap, history, historyKeymap, indentWithTab } from "@codemirror/commands"
import { go } from "@codemirror/lang-go"
import { HighlightStyle, bracketMatching, indentOnInput, indentUnit, syntaxHighlighting } from "@codemirror/language"
import { EditorState, StateEffect, StateField } from "@codemirror/state"
import { Decoration, EditorView, drawSelection, keymap, lineNumbers } from "@codemirror/view"
import { tags } from "@lezer/highlight"

// Colours come from the page's style sheet, so that light and dark are decided
// in one place.
const colours = HighlightStyle.define([
  { tag: [tags.keyword, tags.controlKeyword, tags.definitionKeyword, tags.moduleKeyword], color: "var(--keyword)" },
  { tag: [tags.string, tags.character], color: "var(--string)" },
  { tag: [tags.number, tags.bool, tags.null], color: "var(--digits)" },
  { tag: tags.comment, color: "var(--comment)", fontStyle: "italic" },
])

const setFault = StateEffect.define()
const faultLine = StateField.define({
  create: () => Decoration.none,
  update(marks, change) {
    marks = marks.map(change.changes)
    for (const e of change.effects) {
      if (!e.is(setFault)) continue
      const lines = e.value.filter((n) => n >= 1 && n <= change.state.doc.lines)
      marks = Decoration.set(lines.map((n) => Decoration.line({ class: "fault-line" }).range(change.state.doc.line(n).from)), true)
    }
    return marks
  },
  provide: (f) => EditorView.decorations.from(f),
})

// make puts an editor into parent. change(text) is called at every change,
// run() at Shift-Enter and Ctrl-Enter.
export function make(parent, { text, label, readOnly, nonce, change, run }) {
  const start = () => (run(), true)
  const view = new EditorView({
    parent,
    state: EditorState.create({
      doc: text,
      extensions: [
        keymap.of([
          { key: "Shift-Enter", run: start },
          { key: "Mod-Enter", run: start },
          ...defaultKeymap, ...historyKeymap, indentWithTab,
        ]),
        EditorView.cspNonce.of(nonce),
        lineNumbers(), history(), drawSelection(), indentOnInput(), bracketMatching(),
        indentUnit.of("\t"), EditorState.tabSize.of(4),
        go(), syntaxHighlighting(colours), faultLine,
        EditorView.lineWrapping,
        EditorState.readOnly.of(readOnly),
        EditorView.contentAttributes.of({ "aria-label": label, spellcheck: "false" }),
        EditorView.updateListener.of((u) => { if (u.docChanged) change(u.state.doc.toString()) }),
      ],
    }),
  })
  return {
    text: () => view.state.doc.toString(),
    set: (t) => view.dispatch({ changes: { from: 0, to: view.state.doc.length, insert: t } }),
    focus: () => view.focus(),
    faults: (lines) => view.dispatch({ effects: setFault.of([...lines].sort((a, b) => a - b)) }),
    jump(line) {
      const at = view.state.doc.line(Math.min(Math.max(line, 1), view.state.doc.lines)).from
      view.dispatch({ selection: { anchor: at }, scrollIntoView: true })
      view.focus()
    },
  }
}
