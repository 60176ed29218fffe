"""Rendering: values to pictures.

Promises: the same values give the same bytes; one picture serves the light and the dark page.
Reads: worths, comparables, series, and the chart themes in charts/. Gives: SVG, PNG and print.
Not here: pages (web), or any figure that is not already in the value drawn (valuing, market).
"""
