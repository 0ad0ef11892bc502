import eslint from '@eslint/js';
import tseslint from 'typescript-eslint';

export default tseslint.config(
  { ignores: ['node_modules', 'dist', 'build', 'coverage', 'src/controller/generated', 'records', 'demo/records'] },
  eslint.configs.recommended,
  {
    files: ['**/*.ts'],
    extends: [...tseslint.configs.recommendedTypeChecked, ...tseslint.configs.stylisticTypeChecked],
    languageOptions: { parserOptions: { projectService: true, tsconfigRootDir: import.meta.dirname } },
    rules: {
      '@typescript-eslint/switch-exhaustiveness-check': ['error', { considerDefaultExhaustiveForUnions: true }],
      '@typescript-eslint/consistent-type-imports': 'error',
      '@typescript-eslint/no-unnecessary-condition': 'off',
      '@typescript-eslint/prefer-for-of': 'off',
      '@typescript-eslint/prefer-optional-chain': 'off',
      '@typescript-eslint/consistent-type-definitions': 'off',
      '@typescript-eslint/no-unused-vars': ['error', { argsIgnorePattern: '^_', varsIgnorePattern: '^_' }],
      eqeqeq: 'error',
      'no-restricted-properties': ['error', { object: 'Math', property: 'random', message: 'Pass a seeded generator in.' }],
    },
  },
  {
    // The embedded core is written for two compilers: explicit casts and index loops are its idiom.
    files: ['src/controller/**/*.ts', 'src/wire/**/*.ts'],
    rules: {
      '@typescript-eslint/no-inferrable-types': 'off',
      '@typescript-eslint/no-unnecessary-type-assertion': 'off',
      'no-constant-condition': 'off',
      eqeqeq: 'off',
    },
  },
  {
    // Pure rooms: no real clock, no process, no timers.
    files: ['src/{units,wire,controller,model,link,protocols,safety,station,sequencer,campaign,analysis,twin}/**/*.ts'],
    rules: {
      'no-restricted-globals': ['error', 'process', 'setTimeout', 'setInterval', 'setImmediate', 'performance', 'Date'],
      'no-restricted-imports': ['error', { patterns: ['node:*'] }],
    },
  },
  {
    // The JavaScript stand-in for the subset reads its strict switch from the environment.
    files: ['src/controller/subset-js.ts'],
    rules: { 'no-restricted-globals': 'off' },
  },
  {
    files: ['scripts/**/*.mjs', 'bin/**/*.mjs', '**/*.cjs'],
    languageOptions: { globals: { process: 'readonly', console: 'readonly', module: 'writable', URL: 'readonly', Buffer: 'readonly', performance: 'readonly' } },
  },
);
