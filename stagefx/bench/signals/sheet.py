"""One page, to be printed, that says how to connect, how loud, and what to beware of."""

from __future__ import annotations

from html import escape
from string import Template

from stagefx.bench.signals.signal import TestSignal
from stagefx.figures.cautions import CAUTIONS

SHEET_NAME = "how-to-use.html"

_PAGE = Template("""\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>Measuring a stage with test signals</title>
<style>
:root { color-scheme: light dark; --paper: #fbf9f4; --ink: #23201d; --pencil: #6f6a63;
  --faint: #d9d4ca; }
@media (prefers-color-scheme: dark) { :root { --paper: #1d1b19; --ink: #ece7dd; --pencil: #a59f95;
  --faint: #45413b; } }
body { background: var(--paper); color: var(--ink); margin: 0 auto; max-width: 46rem;
  padding: 1.2rem; font: 1rem/1.45 Charter, "Iowan Old Style", Georgia, "Times New Roman", serif; }
h1 { font-size: 1.6rem; font-weight: normal; margin: 0 0 .3rem; }
h2 { font-size: 1.1rem; margin: 1rem 0 .2rem; }
p, ol, ul { margin: .2rem 0 .4rem; }
ol, ul { padding-left: 1.3rem; }
li { margin: .12rem 0; }
.cautions { border-left: 3px solid var(--ink); list-style: none; padding-left: .8rem; }
table { border-collapse: collapse; width: 100%; }
td, th { border-top: 1px solid var(--faint); padding: .1rem .5rem .1rem 0; text-align: left;
  vertical-align: top; }
th, td:first-child, td.number { font: .85rem/1.5 system-ui, sans-serif; white-space: nowrap; }
td.number { text-align: right; }
code { font-family: ui-monospace, monospace; font-size: .88em; overflow-wrap: anywhere; }
.chain { font: .9rem/1.5 system-ui, sans-serif; }
small { color: var(--pencil); }
@media print { @page { size: A4; margin: 10mm 14mm; } :root { color-scheme: light;
  --paper: #fff; --ink: #000; --pencil: #444; --faint: #bbb; }
  body { font-size: 8.1pt; line-height: 1.24; max-width: none; padding: 0; }
  h1 { font-size: 14pt; } h2 { font-size: 9.5pt; margin-top: 1.2mm; }
  tr, .cautions { break-inside: avoid; } }
</style>
</head>
<body>
<h1>Measuring a stage with test signals</h1>
<p>$count signals of 24 bits at $rate, $minutes minutes together. Each begins and ends with a short
chirp, by which its recording is found and its clock set right: play and record whole files.</p>
<h2>First, the cautions</h2>
<ul class="cautions">
$cautions
</ul>
<h2>Connect</h2>
<p class="chain">player or interface output &rarr; (the stage's own cable) &rarr; <b>stage</b>
&rarr; (its own cable and load) &rarr; interface input</p>
<ol>
<li>Let the load be what it is in use: the recorder's input, in parallel with a resistor if the
power amplifier's input is lower. Write down the knob's position, and do not touch it again.</li>
<li>Switch off everything that changes sound: automatic gain, equalisers, noise reduction,
&ldquo;enhancements&rdquo;, sample-rate conversion. Player and recorder both at $rate.</li>
<li>Play one file at a time at full level, digitally unaltered; start recording before it and stop
after it. Give each recording the name of its signal, in a folder of its own.</li>
</ol>
<h2>Set the levels</h2>
<ol>
<li>Play <code>01-level-1khz</code>: it is $level dB below full scale. Read the volts at the
stage's input with a meter; full scale is $factor times that. This is
<code>--played-full-scale</code>.</li>
<li>Play <code>10-clipping-ramp</code>, which ends at full scale, and turn the recorder's input so
that it peaks between &minus;6 and &minus;1 dB of full scale. It must not clip before the stage
does: put a divider in front of it where its range is too small. Leave it so for all files.</li>
<li>Read the volts at the recorder's input while <code>01-level-1khz</code> plays, and the level
it shows in dBFS. Its full scale is volts &times; 10<sup>&minus;dBFS/20</sup>:
<code>--captured-full-scale</code>. Without either, everything that needs no volts is still
measured.</li>
</ol>
<h2>Know your instrument</h2>
<p>Take the stage out, join its two cables, leave all settings, and record the files again: the
<em>loopback</em>. Without it nobody can tell the stage from the interface. Then put the stage
back and record once more: the <em>repeat</em> shows how far two takes of one thing differ.</p>
<h2>The signals</h2>
<table>
<tr><th scope="col">file</th><th scope="col">lasts</th><th scope="col">what for</th></tr>
$rows
</table>
<h2>Measure</h2>
<p><code>stagefx bench measure SIGNALS RECORDINGS --loopback LOOPBACK --repeat REPEAT
--played-full-scale V --captured-full-scale V --save measured.json</code><br>
<small>Folders, or single files. <code>--channel right</code> tells of the other channel.
Headphones and loudspeakers stay disconnected: treble tones near full scale burn tweeters
before they are heard as loud.</small></p>
</body>
</html>
""")

_SHOWN = ("mains", "speakers-off", "scope-ground", "earth", "hearing")


def sheet_html(signals: tuple[TestSignal, ...]) -> str:
    """The sheet for a set of signals."""
    level_db = signals[0].tones()[0].level_dbfs
    seconds = sum(signal.frames / signal.rate_hz for signal in signals)
    return _PAGE.substitute(
        count=len(signals),
        rate=f"{signals[0].rate_hz / 1e3:g} kHz",
        minutes=f"{seconds / 60.0:.1f}",
        level=f"{-level_db:g}",
        factor=f"{10.0 ** (-level_db / 20.0):.2f}",
        cautions="\n".join(f"<li>{escape(CAUTIONS[name])}</li>" for name in _SHOWN),
        rows="\n".join(_row(signal) for signal in signals),
    )


def _row(signal: TestSignal) -> str:
    what = (
        f"{signal.purpose} <small>{escape(signal.note)}</small>" if signal.note else signal.purpose
    )
    lasts = f"{signal.frames / signal.rate_hz:.0f} s"
    return f'<tr><td>{signal.name}</td><td class="number">{lasts}</td><td>{what}</td></tr>'
