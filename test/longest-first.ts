import { BaseSequencer, type TestSpecification } from "vitest/node";

/**
 * Starts the files that take longest first, so that none of them is left running alone at the end; without a memory of
 * earlier runs vitest goes by the size of the files, which tells little.
 * @param slow the ends of their paths, the slowest first
 */
export function longestFirst(slow: readonly string[]): typeof BaseSequencer {
  return class extends BaseSequencer {
    override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
      const bySize = await super.sort(files);
      const rank = ({ moduleId }: TestSpecification) => {
        const place = slow.findIndex((end) => moduleId.endsWith(end));
        return place < 0 ? slow.length : place;
      };
      return bySize.toSorted((a, b) => rank(a) - rank(b));
    }
  };
}
