"""Imported once in the warm server of the workers: what runs notebooks and makes pages."""

from trialkit.batch.preload import load, loading

MODULES = ("papermill", "trialkit.batch.engine", "trialkit.batch.work", "trialkit.publish.page")

with loading():
    load(MODULES)
