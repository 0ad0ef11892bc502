// A program for tests that starts a crew, gives it nothing to do, and ends.
import { startCrew } from '../../src/host/threads';

startCrew({ name: 'child-adds', base: import.meta.url }, 2);
