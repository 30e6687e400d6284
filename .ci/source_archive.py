"""The source archive: what setuptools puts into it by itself, and the tests with all that they read."""

from setuptools.command.sdist import sdist

FOLDERS = ("tests", "models", "demo_plans", ".ci")
FILES = ("DEVELOPERS.md", ".gitignore")
NOT_SOURCE = ("*.py[cod]", "*.wav")


class SourceArchive(sdist):
    def make_distribution(self):
        for folder in FOLDERS:
            self.filelist.graft(folder)
        self.filelist.prune("models/*")  # fetched speech models
        for name in FILES:
            self.filelist.include(name)
        for pattern in NOT_SOURCE:
            self.filelist.global_exclude(pattern)
        self.filelist.sort()
        self.filelist.remove_duplicates()
        super().make_distribution()
