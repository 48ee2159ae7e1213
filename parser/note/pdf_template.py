"""The layout of the PDF in typst's language. Every word of the note comes in as data."""

TEMPLATE = r"""
#let data = json(bytes(sys.inputs.data))
#let accent = rgb("#2f6f62")
#let warn = rgb("#9a3412")
#set document(title: data.title, date: none)
#set page(paper: data.paper, margin: (x: 2.2cm, top: 2.2cm, bottom: 2cm),
  header: context if counter(page).get().first() > 1 [
    #set text(8.5pt, fill: luma(90)); #data.title #h(1fr) run #data.run],
  footer: context [
    #set text(8.5pt, fill: luma(90)); #data.cautions.at(0) #h(1fr) #counter(page).display("1 / 1", both: true)])
#set text(font: "Libertinus Serif", size: 10.5pt, lang: "en")
#set par(leading: 0.62em, spacing: 0.8em)
#show heading.where(level: 1): it => block(above: 1.4em, below: 0.7em, sticky: true,
  text(13pt, weight: "bold", fill: accent, it.body))
#show heading.where(level: 2): it => block(above: 0.95em, below: 0.4em, sticky: true,
  text(10.5pt, weight: "bold", it.body))
#let small(body) = text(9pt, fill: luma(70), body)
#let list-of(title, items) = if items.len() > 0 [
  = #title
  #for item in items [- #text(item)]
]
#let grid-of(heads, rows, columns) = table(columns: columns, stroke: (x, y) => (bottom: 0.4pt + luma(190)),
  inset: (x: 4pt, y: 3.5pt), align: left + top,
  table.header(..heads.map(h => strong(h))), ..rows.flatten().map(c => text(9.5pt, c)))

#title(text(18pt, data.title))
#small(data.facts)

#block(stroke: 1.2pt + warn, inset: 6pt, radius: 2pt, text(fill: warn, weight: "bold", data.cautions.at(0)))

= Stations, crown to sole
#if data.strip != "" { image(bytes(data.strip), format: "svg", width: 100%, alt: data.strip_alt) }
#let half(items) = for (number, station) in items [
  #set text(9pt)
  #set par(leading: 0.5em)
  #let rest = if station.missing != "" { "; not heard: " + station.missing }
  #block(above: 0.5em, below: 0.5em)[#number. #strong(station.title), #station.coverage#rest]
]
#let numbered = data.stations.enumerate(start: 1)
#let middle = calc.ceil(numbered.len() / 2)
#grid(columns: (1fr, 1fr), gutter: 14pt, half(numbered.slice(0, middle)), half(numbered.slice(middle)))

#if data.remarks.len() > 0 [
  = What needs attention
  #for (number, remark) in data.remarks.enumerate(start: 1).slice(0, calc.min(7, data.remarks.len())) [
    #block(above: 0.7em, breakable: false)[#number. #text(fill: warn, weight: "bold", remark.severity) #remark.message
      #if remark.say != "" [#linebreak() #small[Next time: #remark.say]]
      #linebreak() #small(remark.source)]
  ]
]

= #data.heading
#if data.paragraphs.len() == 0 [Nothing was documented.]
#for paragraph in data.paragraphs [
  == #paragraph.title
  #for run in paragraph.runs [#run.text #if run.mark != "" [#highlight(fill: rgb("#fde68a"), run.mark) ]]
  #if paragraph.trace.len() > 0 [#set text(8.5pt); #for line in paragraph.trace [- #text(line)]]
]

#if data.rows.len() > 0 [
  = Vital signs and scales
  #if data.gauges != "" { image(bytes(data.gauges), format: "svg", width: 100%, alt: data.gauges_alt) }
  #if data.rows.all(row => row.at(4) == "") [
    #grid-of(("What", "Value", "Also", "How"), data.rows.map(row => row.slice(0, 4)), (3fr, 2.2fr, 1.4fr, 3.6fr))
  ] else [
    #grid-of(("What", "Value", "Also", "How", "Time"), data.rows, (3fr, 2.2fr, 1.4fr, 3.6fr, auto))
  ]
]
#if data.computed.len() > 0 [
  = Computed
  #grid-of(("What", "Value", "Formula", "Source"), data.computed, (2fr, 1.3fr, 3.4fr, 2.4fr))
]
#list-of("Norms of this note by exception", data.norms)
#list-of("Corrections", data.trail)
#if data.not_documented != "" [
  = Not documented
  #data.not_documented
]
#if data.remarks.len() > 7 [
  = All other remarks
  #for (number, remark) in data.remarks.enumerate(start: 1).slice(7) [
    #block(above: 0.6em, breakable: false)[
      #set text(9.5pt)
      #number. #text(weight: "bold", remark.severity) #remark.message
      #if remark.say != "" [#linebreak() #small[Next time: #remark.say]]]
  ]
]

#if data.sources.len() > 0 [
  = Sources
  #for line in data.sources [#block(above: 0.5em, breakable: false)[#set text(9pt); #line]]
]

#v(1em)
#small(data.cautions.at(1))
"""
