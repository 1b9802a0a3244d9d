"""The main job, from an empty folder to code that does the same."""

from pytest_bdd import scenarios

scenarios("main_job.feature")
